//! What a shop's own past buttons say of the loss to expect, and of a button that is out of line.
//!
//! Robust on purpose: the median and the median absolute deviation, which one spilled crucible in
//! a season does not move. All exact decimals. Leaves to others: where the past is kept, and what
//! a loss does to the fineness ([`Loss`](super::Loss)).

use rust_decimal::Decimal;

use super::density::decimal;
use crate::mass::{Division, Mass, fixed};

/// One melt of the past.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PastMelt {
    /// All that went in.
    pub went_in: Mass,
    /// The button that came out.
    pub button: Mass,
}

impl PastMelt {
    /// Loss in per mille of what went in, below zero for a gain; `None` when nothing went in or
    /// nothing came out.
    pub fn loss_ppt(&self) -> Option<Decimal> {
        if !self.went_in.is_positive() || !self.button.is_positive() {
            return None;
        }
        ((self.went_in - self.button).grams() * Decimal::ONE_THOUSAND)
            .checked_div(self.went_in.grams())
    }
}

/// How the shop's melts usually lose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UsualLoss {
    /// The median loss, per mille of what went in.
    pub median_ppt: Decimal,
    /// The spread of one melt as a standard deviation, per mille: 1.4826 times the median absolute
    /// deviation, which is the standard deviation where the losses are normal.
    pub spread_ppt: Decimal,
    /// How many melts it rests on.
    pub melts: usize,
}

/// The fewest melts that a usual loss can be read from.
pub const FEWEST_MELTS: usize = 5;
/// The standard deviation of a normal quantity over its median absolute deviation.
const NORMAL: Decimal = decimal(14_826, 4);
/// How many spreads from the median a usual button may lie (common practice).
const REACH: Decimal = decimal(3, 0);

impl UsualLoss {
    /// The usual loss of these melts; `None` with fewer than five that can be read.
    pub fn of(past: &[PastMelt]) -> Option<Self> {
        let losses: Vec<Decimal> = past.iter().filter_map(PastMelt::loss_ppt).collect();
        if losses.len() < FEWEST_MELTS {
            return None;
        }
        let melts = losses.len();
        let median = median(losses.clone())?;
        let apart = losses.iter().map(|loss| (loss - median).abs()).collect();
        Some(Self {
            median_ppt: median,
            spread_ppt: self::median(apart)? * NORMAL,
            melts,
        })
    }

    /// The loss to expect of so much metal.
    pub fn expected(&self, going_in: Mass) -> Mass {
        Mass::computed(going_in.grams() * self.median_ppt / Decimal::ONE_THOUSAND)
    }

    /// The button of so much metal held against the usual loss; `None` when either is nothing.
    ///
    /// The range reaches three spreads to both sides, and never less than one division of the
    /// balance: shops whose buttons agree to the digit would else be warned of the last digit.
    pub fn judge(&self, melt: PastMelt, division: Division) -> Option<Judged> {
        let loss = melt.loss_ppt()?;
        let coarse =
            (division.mass().grams() * Decimal::ONE_THOUSAND).checked_div(melt.went_in.grams())?;
        let reach = (self.spread_ppt * REACH).max(coarse);
        let (least, most) = (self.median_ppt - reach, self.median_ppt + reach);
        let verdict = if loss < Decimal::ZERO && loss < least {
            LossVerdict::Gain
        } else if loss < least {
            LossVerdict::LessThanUsual
        } else if loss > most {
            LossVerdict::MoreThanUsual
        } else {
            LossVerdict::Usual
        };
        Some(Judged {
            loss_ppt: loss,
            least_ppt: least,
            most_ppt: most,
            verdict,
        })
    }
}

/// Where a loss stands against the usual.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LossVerdict {
    /// Inside the usual range.
    Usual,
    /// More was lost than usual.
    MoreThanUsual,
    /// Less was lost than usual, though the button is not heavier than what went in.
    LessThanUsual,
    /// The button is heavier than what went in, beyond what the shop's weighings explain.
    Gain,
}

impl LossVerdict {
    /// The likely reasons, the most likely first, in words for the person at the bench.
    pub fn reasons(self) -> &'static [&'static str] {
        match self {
            Self::Usual => &[],
            Self::MoreThanUsual => &[
                "Metal is still in the crucible or the mould, or was spilled: look for beads.",
                "Zinc or cadmium burned off, in a melt too hot or too long; the button is then finer than planned.",
                "The lots held what is not metal: dirt, grease, steel springs, enamel, stones, moisture.",
                "A mass was captured with something else on the pan.",
            ],
            Self::LessThanUsual => &[
                "Flux or slag clings to the button: pickle, rinse and dry it, then weigh again.",
                "Water or pickle is held in pores: dry it hot, then weigh again.",
                "The crucible gave back metal that an earlier melt left in it.",
            ],
            Self::Gain => &[
                "Flux, slag or a piece of crucible clings to the button: clean it, then weigh again.",
                "Metal of an earlier melt came out of the crucible; then the button's fineness is not known.",
                "Something went into the melt that was not weighed; then the button's fineness is not known.",
                "The pan was not at zero when the lots or the button were weighed.",
            ],
        }
    }
}

/// A button held against the usual loss.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// Its loss, per mille of what went in.
    pub loss_ppt: Decimal,
    /// The least usual loss, per mille.
    pub least_ppt: Decimal,
    /// The greatest usual loss, per mille.
    pub most_ppt: Decimal,
    /// Where it stands.
    pub verdict: LossVerdict,
}

impl Judged {
    /// One sentence that says where the button stands.
    pub fn sentence(&self) -> String {
        let two = |ppt: Decimal| fixed(ppt, 2);
        let usual = format!(
            "usually between {} and {} ‰ is lost here",
            two(self.least_ppt),
            two(self.most_ppt)
        );
        let lost = two(self.loss_ppt);
        match self.verdict {
            LossVerdict::Usual => format!("The melt lost {lost} ‰; {usual}."),
            LossVerdict::MoreThanUsual => {
                format!("The melt lost {lost} ‰, more than usual; {usual}.")
            }
            LossVerdict::LessThanUsual => {
                format!("The melt lost {lost} ‰, less than usual; {usual}.")
            }
            LossVerdict::Gain => format!(
                "The button weighs {} ‰ more than what went in, which no melt does by itself; {usual}.",
                two(-self.loss_ppt)
            ),
        }
    }
}

/// The middle of the sorted numbers, or halfway between the two in the middle.
fn median(mut numbers: Vec<Decimal>) -> Option<Decimal> {
    numbers.sort_unstable();
    let half = numbers.len() / 2;
    let upper = *numbers.get(half)?;
    if numbers.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = *numbers.get(half.checked_sub(1)?)?;
    Some((lower + upper) / Decimal::TWO)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    fn melt(went_in: Decimal, button: Decimal) -> PastMelt {
        PastMelt {
            went_in: Mass::from_grams(went_in).unwrap(),
            button: Mass::from_grams(button).unwrap(),
        }
    }

    /// Melts of 100 g that lost so many per mille.
    fn past(losses: &[Decimal]) -> Vec<PastMelt> {
        losses
            .iter()
            .map(|loss| melt(d("100"), d("100") - loss / d("10")))
            .collect()
    }

    #[test]
    fn the_loss_of_a_printed_remelt() {
        // 4020 oz in, 4005 oz out: 15 oz, 0.373 per cent.
        let loss = melt(d("4020"), d("4005")).loss_ppt().unwrap();
        assert_eq!(fixed(loss, 2), d("3.73"));
        assert_eq!(melt(d("0"), d("1")).loss_ppt(), None);
        assert_eq!(melt(d("1"), d("0")).loss_ppt(), None);
    }

    #[test]
    fn one_spilled_crucible_moves_nothing() {
        let calm = [d("2"), d("3"), d("4"), d("3"), d("2.5"), d("3.5")];
        let usual = UsualLoss::of(&past(&calm)).unwrap();
        assert_eq!(usual.median_ppt, d("3"));
        // Apart from the median: 1, 0, 1, 0, 0.5, 0.5; their median is 0.5.
        assert_eq!(usual.spread_ppt, d("0.7413"));
        let mut spilled = calm.to_vec();
        spilled.push(d("120"));
        let after = UsualLoss::of(&past(&spilled)).unwrap();
        assert_eq!(after.median_ppt, d("3"));
        assert_eq!(after.spread_ppt, d("0.7413"));
        let expected = usual.expected(Mass::from_grams(d("50")).unwrap());
        assert_eq!(expected.grams(), d("0.15"));
    }

    #[test]
    fn four_melts_are_too_few() {
        assert!(UsualLoss::of(&past(&[d("2"); 4])).is_none());
        assert!(UsualLoss::of(&past(&[d("2"); 5])).is_some());
    }

    #[test]
    fn a_button_out_of_line_is_flagged_with_reasons() {
        let usual = UsualLoss::of(&past(&[d("2"), d("3"), d("4"), d("3"), d("2.5")])).unwrap();
        let division: Division = "0.01 g".parse().unwrap();
        let verdict = |button| {
            let judged = usual.judge(melt(d("100"), button), division).unwrap();
            assert_eq!(
                judged.verdict.reasons().is_empty(),
                judged.verdict == LossVerdict::Usual
            );
            judged.verdict
        };
        assert_eq!(verdict(d("99.7")), LossVerdict::Usual);
        assert_eq!(verdict(d("98.5")), LossVerdict::MoreThanUsual);
        assert_eq!(verdict(d("99.99")), LossVerdict::LessThanUsual);
        assert_eq!(verdict(d("100.05")), LossVerdict::Gain);
        let said = usual
            .judge(melt(d("100"), d("98.5")), division)
            .unwrap()
            .sentence();
        assert!(
            said.starts_with("The melt lost 15.00 ‰, more than usual"),
            "{said}"
        );
    }

    #[test]
    fn buttons_that_agree_to_the_digit_still_leave_one_division() {
        let usual = UsualLoss::of(&past(&[d("1"); 6])).unwrap();
        let division: Division = "0.01 g".parse().unwrap();
        let verdict = |button| {
            usual
                .judge(melt(d("100"), button), division)
                .unwrap()
                .verdict
        };
        assert_eq!(verdict(d("99.90")), LossVerdict::Usual);
        assert_eq!(verdict(d("99.89")), LossVerdict::Usual);
        assert_eq!(verdict(d("99.88")), LossVerdict::MoreThanUsual);
    }
}
