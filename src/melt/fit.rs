//! Whether a balance is fit for an addition at all.

use super::Window;
use crate::mass::{Class, Division, Mass, least_net};

/// What stands against weighing an addition on this balance. Advice: none of it forbids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unfit {
    /// The window is so few divisions wide; hands need more.
    Narrow {
        /// Divisions between its edges.
        divisions: u32,
    },
    /// Less than what the balance weighs to one part in a thousand.
    BelowLeastNet {
        /// The smallest such mass.
        least: Mass,
    },
    /// Less than the least load of the balance's class.
    BelowLeastLoad {
        /// The least load.
        least: Mass,
    },
}

/// Fewer divisions than this between the edges are hard to hit grain by grain (common practice,
/// no source).
const NARROW: u32 = 4;

/// Everything that stands against it.
pub fn unfit(
    window: &Window,
    division: Division,
    repeatability: Option<Mass>,
    class: Option<Class>,
) -> Vec<Unfit> {
    let mut against = Vec::new();
    let wide = window.upper - window.lower;
    if wide < division.mass().times(NARROW) {
        let divisions = (0..NARROW)
            .rev()
            .find(|n| wide >= division.mass().times(*n))
            .unwrap_or(0);
        against.push(Unfit::Narrow { divisions });
    }
    let least = least_net(division, repeatability);
    if window.aim < least {
        against.push(Unfit::BelowLeastNet { least });
    }
    if let Some(least) = class
        .map(|class| class.least_load(division))
        .filter(|least| window.aim < *least)
    {
        against.push(Unfit::BelowLeastLoad { least });
    }
    against
}

impl Unfit {
    /// In words.
    pub fn text(self, division: Division) -> String {
        let show = |mass| division.show(mass);
        match self {
            Self::Narrow { divisions } => {
                let wide = match divisions {
                    0 => "a single mass".to_owned(),
                    1 => "one division of the balance wide".to_owned(),
                    _ => format!("{divisions} divisions of the balance wide"),
                };
                format!(
                    "The window is {wide}: use a finer balance, melt more at once, or allow more give-away."
                )
            }
            Self::BelowLeastNet { least } => format!(
                "The addition is less than {}, below which this balance does not weigh to one part in a thousand; the window allows for that, a finer balance would be surer.",
                show(least)
            ),
            Self::BelowLeastLoad { least } => {
                format!(
                    "The addition is below {}, the least load of the balance's class.",
                    show(least)
                )
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    #[test]
    fn a_narrow_window_and_a_small_mass_are_said() {
        let mass = |text: &str| text.parse::<Indication>().unwrap().mass();
        let window = Window {
            lower: mass("0.11 g"),
            aim: mass("0.12 g"),
            upper: mass("0.13 g"),
            raises: false,
        };
        let d: Division = "0.01 g".parse().unwrap();
        let against = unfit(&window, d, None, Some(Class::High));
        assert_eq!(
            against,
            [
                Unfit::Narrow { divisions: 2 },
                Unfit::BelowLeastNet {
                    least: mass("8.2 g")
                },
                Unfit::BelowLeastLoad {
                    least: mass("0.2 g")
                }
            ]
        );
        let told = |divisions| Unfit::Narrow { divisions }.text(d);
        assert!(told(0).contains("is a single mass:"), "{}", told(0));
        assert!(told(1).contains("one division of"), "{}", told(1));
        assert!(unfit(&window, "0.0001 g".parse().unwrap(), None, None).is_empty());
    }
}
