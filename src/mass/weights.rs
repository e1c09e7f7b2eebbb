//! Check weights: how far a weight of a class may be from its nominal mass, and how far a balance
//! may show it. Leaves to others: what follows when it shows otherwise.
//!
//! Source: OIML R 111-1:2004, table 1, maximum permissible errors.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;

use super::{Class, Division, Indication, Mass, Unit};
use crate::trouble::Trouble;

/// A class of weights.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeightClass {
    /// E1.
    E1,
    /// E2.
    E2,
    /// F1.
    F1,
    /// F2.
    F2,
    /// M1.
    M1,
    /// M2.
    M2,
    /// M3.
    M3,
}

/// Nominal mass in milligrams, then the error of each class in micrograms; 0 where the class has
/// no weight of that mass.
const TABLE: [(i64, [i64; 7]); 23] = [
    (1, [3, 6, 20, 60, 200, 0, 0]),
    (2, [3, 6, 20, 60, 200, 0, 0]),
    (5, [3, 6, 20, 60, 200, 0, 0]),
    (10, [3, 8, 25, 80, 250, 0, 0]),
    (20, [3, 10, 30, 100, 300, 0, 0]),
    (50, [4, 12, 40, 120, 400, 0, 0]),
    (100, [5, 16, 50, 160, 500, 1_600, 0]),
    (200, [6, 20, 60, 200, 600, 2_000, 0]),
    (500, [8, 25, 80, 250, 800, 2_500, 0]),
    (1_000, [10, 30, 100, 300, 1_000, 3_000, 10_000]),
    (2_000, [12, 40, 120, 400, 1_200, 4_000, 12_000]),
    (5_000, [16, 50, 160, 500, 1_600, 5_000, 16_000]),
    (10_000, [20, 60, 200, 600, 2_000, 6_000, 20_000]),
    (20_000, [25, 80, 250, 800, 2_500, 8_000, 25_000]),
    (50_000, [30, 100, 300, 1_000, 3_000, 10_000, 30_000]),
    (100_000, [50, 160, 500, 1_600, 5_000, 16_000, 50_000]),
    (200_000, [100, 300, 1_000, 3_000, 10_000, 30_000, 100_000]),
    (500_000, [250, 800, 2_500, 8_000, 25_000, 80_000, 250_000]),
    (
        1_000_000,
        [500, 1_600, 5_000, 16_000, 50_000, 160_000, 500_000],
    ),
    (
        2_000_000,
        [1_000, 3_000, 10_000, 30_000, 100_000, 300_000, 1_000_000],
    ),
    (
        5_000_000,
        [2_500, 8_000, 25_000, 80_000, 250_000, 800_000, 2_500_000],
    ),
    (
        10_000_000,
        [
            5_000, 16_000, 50_000, 160_000, 500_000, 1_600_000, 5_000_000,
        ],
    ),
    (
        20_000_000,
        [
            10_000, 30_000, 100_000, 300_000, 1_000_000, 3_000_000, 10_000_000,
        ],
    ),
];

impl WeightClass {
    /// Every class, finest first.
    pub const WORDS: [(&'static str, Self); 7] = [
        ("E1", Self::E1),
        ("E2", Self::E2),
        ("F1", Self::F1),
        ("F2", Self::F2),
        ("M1", Self::M1),
        ("M2", Self::M2),
        ("M3", Self::M3),
    ];

    /// How far a weight of this nominal mass may be from it; `None` where the class has no such
    /// weight.
    pub fn error(self, nominal: Mass) -> Option<Mass> {
        let milligrams = nominal.grams() * Decimal::ONE_THOUSAND;
        let (_, row) = TABLE
            .iter()
            .find(|(mass, _)| Decimal::from(*mass) == milligrams)?;
        let place = Self::WORDS.iter().position(|(_, class)| *class == self)?;
        let micrograms = *row.get(place)?;
        (micrograms > 0).then(|| Mass::computed(Decimal::new(micrograms, 6)))
    }
}

impl fmt::Display for WeightClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let found = Self::WORDS.iter().find(|(_, class)| class == self);
        f.write_str(found.map_or("", |(word, _)| word))
    }
}

/// How well a check weight is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Known {
    Class(WeightClass),
    Within(Indication),
}

/// A weight of known mass: `20 g F2`, or, without a class, `100 ct within 5 mg`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CheckWeight {
    nominal: Indication,
    known: Known,
    error: Mass,
}

/// Divisions that a balance without a class may be off by at a load (common practice, no source):
/// its repeatability and its linearity, one each.
const ERROR_DIVISIONS: u32 = 2;
/// Units nearer to each other than this, as a share of one, cannot be told apart by any load.
const TWINS: Decimal = Decimal::from_parts(1, 0, 0, false, 3);

impl CheckWeight {
    /// Its nominal mass.
    pub fn nominal(&self) -> Indication {
        self.nominal
    }

    /// How far it may be from that.
    pub fn error(&self) -> Mass {
        self.error
    }

    /// How far a balance in order may show it from its nominal mass: the weight's own error, the
    /// balance's at that load (in service, or two divisions without a class), and one division for
    /// the rounding of the two readings.
    pub fn limit(&self, division: Division, class: Option<Class>) -> Mass {
        let balance = class.map_or(division.mass().times(ERROR_DIVISIONS), |class| {
            class.error_in_service(division, self.nominal.mass())
        });
        self.error + balance + division.mass()
    }

    /// Whether it is heavy enough for this balance that no other unit's number for it lies within
    /// its limits, nor near them.
    pub fn tells_units(&self, division: Division, class: Option<Class>) -> bool {
        let far = self.limit(division, class).times(2);
        others(division.unit())
            .filter(|(_, factor)| (*factor - Decimal::ONE).abs() > TWINS)
            .all(|(_, factor)| self.apart(factor) > far)
    }

    fn apart(&self, factor: Decimal) -> Mass {
        Mass::computed(self.nominal.mass().grams() * (factor - Decimal::ONE).abs())
    }

    /// The unit that the balance would be in if it shows this number for the weight, other than
    /// its own.
    pub fn unit_of(
        &self,
        shown: Decimal,
        division: Division,
        class: Option<Class>,
    ) -> Option<Unit> {
        let slack = self.limit(division, class).grams() / division.unit().grams();
        others(division.unit())
            .filter(|(_, factor)| (*factor - Decimal::ONE).abs() > TWINS)
            .find(|(unit, factor)| {
                let number = self.nominal.mass().grams() / unit.grams();
                (shown - number).abs() <= slack * (*factor).max(Decimal::ONE)
            })
            .map(|(unit, _)| unit)
    }
}

/// Every other unit, with how many of it make one of this.
fn others(of: Unit) -> impl Iterator<Item = (Unit, Decimal)> {
    Unit::all()
        .filter(move |unit| *unit != of)
        .map(move |unit| (unit, of.grams() / unit.grams()))
}

impl fmt::Display for CheckWeight {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.known {
            Known::Class(class) => write!(f, "{} {class}", self.nominal),
            Known::Within(error) => write!(f, "{} within {error}", self.nominal),
        }
    }
}

impl FromStr for CheckWeight {
    type Err = Trouble;

    fn from_str(text: &str) -> Result<Self, Trouble> {
        let odd = |why: &str, mend: &str| {
            Trouble::new(
                "check-weight-unreadable",
                format!("\"{text}\" is not a check weight: {why}."),
                "No balance is checked with it.",
                mend,
            )
        };
        let written = "Write its nominal mass and its class, as in 20 g F2, or how well it is known, as in 100 ct within 5 mg.";
        let positive = |mass: &Indication| mass.mass().is_positive();
        if let Some((nominal, error)) = text.split_once("within") {
            let nominal: Indication = nominal.parse()?;
            let within: Indication = error.parse()?;
            if !positive(&nominal) || !positive(&within) || within.mass() >= nominal.mass() {
                return Err(odd(
                    "a mass and how well it is known must be above zero",
                    written,
                ));
            }
            return Ok(Self {
                nominal,
                known: Known::Within(within),
                error: within.mass(),
            });
        }
        let (nominal, class) = text
            .trim()
            .rsplit_once(char::is_whitespace)
            .ok_or_else(|| odd("it has no class", written))?;
        let class = WeightClass::WORDS
            .iter()
            .find(|(word, _)| *word == class)
            .map(|(_, class)| *class)
            .ok_or_else(|| odd("its class is none of E1, E2, F1, F2, M1, M2, M3", written))?;
        let nominal: Indication = nominal.parse()?;
        let error = class.error(nominal.mass()).ok_or_else(|| {
            odd(
                &format!("class {class} has no weight of that mass"),
                "Use a single weight of 1, 2 or 5 g, of ten times that, and so on, or say how well it is known, as in 30 g within 5 mg.",
            )
        })?;
        Ok(Self {
            nominal,
            known: Known::Class(class),
            error,
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    #[test]
    fn errors_are_those_of_the_table() {
        // OIML R 111-1:2004, table 1.
        for (weight, error) in [
            ("1 mg E1", "0.003 mg"),
            ("500 mg M1", "0.8 mg"),
            ("1 g M1", "1.0 mg"),
            ("20 g F2", "0.8 mg"),
            ("20 g M1", "2.5 mg"),
            ("50 g E2", "0.10 mg"),
            ("100 g M2", "16 mg"),
            ("100 g M3", "50 mg"),
            ("200 g F1", "1.0 mg"),
            ("1 kg M1", "50 mg"),
            ("1 kg M2", "160 mg"),
            ("1 kg M3", "500 mg"),
            ("100 ct F2", "0.8 mg"),
            ("100 ct within 5 mg", "5 mg"),
        ] {
            let read: CheckWeight = weight.parse().unwrap();
            assert_eq!(read.error(), mass(error), "{weight}");
            assert_eq!(read.to_string(), weight);
        }
    }

    #[test]
    fn each_row_grows_with_the_class_and_each_column_with_the_mass() {
        for (at, (nominal, row)) in TABLE.iter().enumerate() {
            let known: Vec<i64> = row.iter().copied().filter(|error| *error > 0).collect();
            assert!(known.is_sorted_by(|a, b| a < b), "{nominal}");
            if let Some((_, heavier)) = TABLE.get(at + 1) {
                let pairs = row.iter().zip(heavier);
                assert!(pairs.into_iter().all(|(a, b)| *a <= *b), "after {nominal}");
            }
        }
    }

    #[test]
    fn what_is_no_weight_is_refused_with_what_to_write() {
        for text in [
            "",
            "20 g",
            "F2",
            "20 F2",
            "30 g F2",
            "10 mg M3",
            "20 g f2",
            "20 g X1",
            "0 g within 1 mg",
            "1 g within 2 g",
        ] {
            assert!(text.parse::<CheckWeight>().is_err(), "{text}");
        }
    }

    #[test]
    fn a_limit_holds_the_weight_the_balance_and_the_rounding() {
        let weight: CheckWeight = "20 g F2".parse().unwrap();
        let division: Division = "0.01 g".parse().unwrap();
        assert_eq!(weight.limit(division, None), mass("30.8 mg"));
        // 2000 e in class II: 0.5 e at verification, one in service.
        assert_eq!(weight.limit(division, Some(Class::High)), mass("20.8 mg"));
        assert!(weight.tells_units(division, None));
        let light: CheckWeight = "100 mg F2".parse().unwrap();
        assert!(!light.tells_units(division, None));
        for (shown, unit) in [
            ("100.00", Some(Unit::Carat)),
            ("12.86", Some(Unit::Pennyweight)),
            ("0.64", Some(Unit::TroyOunce)),
            ("20.00", None),
            ("37.00", None),
        ] {
            let shown = shown.parse().unwrap();
            assert_eq!(weight.unit_of(shown, division, None), unit, "{shown}");
        }
    }
}
