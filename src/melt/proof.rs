//! Proof by density: a piece weighed in air and in water, held against the density that its alloy
//! ought to have, with what the answer can and cannot tell.
//!
//! Hydrostatic weighing: density = air + W (water - air) / D, with the densities of air and water, W
//! the mass shown in air and D the difference to W', that in water; the same as
//! (W water - W' air) / (W - W'). First-order
//! uncertainty as in the GUM (JCGM 100), each term kept; probabilities by the normal model of JCGM
//! 106, 7. One of the files that count in binary floating point; what leaves is a rounded decimal
//! and decides nothing by itself. Leaves to others: whether a density alone is to be believed.

use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive as _, ToPrimitive as _};

use super::density::decimal;
use super::{Air, Density, water_density};
use crate::mass::{Division, Mass, fixed};
use crate::metal::{Composition, Element, Fineness};
use crate::trouble::Trouble;

/// How the water took part in the second weighing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InWater {
    /// The piece hangs from the balance into the water; the balance shows what is left of it.
    Hung(Mass),
    /// A vessel of water stands on the pan at zero and the piece hangs into it from outside,
    /// touching neither wall nor floor; the balance shows the water that it pushes aside.
    Displaced(Mass),
}

/// What is taken of each weighing and of the water, each a standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Doubts {
    /// Of each of the two masses.
    pub reading: Mass,
    /// Of the water's temperature, in kelvin.
    pub celsius: Decimal,
    /// Of the water itself, kg/m3: salts and air in it.
    pub water: Decimal,
    /// Of the air's density, in per mille of it.
    pub air_ppt: Decimal,
    /// Pull of the water on the thread.
    pub thread: Mass,
    /// Water kept away by bubbles.
    pub bubbles: Mass,
    /// Of the expected density by ideal mixing, in per mille of it.
    pub model_ppt: Decimal,
}

impl Doubts {
    /// The usual doubts with a balance of this division (common practice where no source is given).
    ///
    /// Each mass: half a division of repeatability, and rounding at zero and at the load (each a
    /// division over the root of twelve), together 0.65 of a division. Water 0.5 K by an ordinary
    /// thermometer, 0.2 kg/m3 for tap water. Air 3 % for weather and height. A fine thread pulls
    /// and bubbles lift by 1 mg each. Ideal mixing: 10 per mille, for gold with silver and copper
    /// (the deviations in Rose, "The Metallurgy of Gold", reach 7; Kraut and Stern, Gold Bulletin
    /// 33, 2000, find why).
    pub fn usual(division: Division) -> Self {
        let milligram = Mass::computed(decimal(1, 3));
        Self {
            reading: Mass::computed(division.mass().grams() * decimal(65, 2)),
            celsius: decimal(5, 1),
            water: decimal(2, 1),
            air_ppt: decimal(30, 0),
            thread: milligram,
            bubbles: milligram,
            model_ppt: decimal(10, 0),
        }
    }
}

/// Two weighings, and what the piece ought to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Weighings {
    /// Mass shown in air.
    pub in_air: Mass,
    /// Mass shown with the water.
    pub in_water: InWater,
    /// Temperature of the water, degrees Celsius.
    pub water_celsius: Decimal,
    /// The air in the room.
    pub air: Air,
    /// How far each figure may be believed.
    pub doubts: Doubts,
    /// What the piece ought to be made of.
    pub planned: Composition,
    /// The lowest fineness that may carry the mark.
    pub lowest: Fineness,
}

/// One term of an uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Term {
    /// What it comes from.
    pub name: &'static str,
    /// What it adds to the standard uncertainty of the density, kg/m3, to three decimals.
    pub kg_per_m3: Decimal,
}

/// What a density says of the alloy that was planned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// Within two standard uncertainties of what the alloy ought to have.
    Agrees,
    /// Within them too, but they are so wide that the next mark down would be as well: nothing is
    /// told.
    TellsNothing,
    /// Lighter than that: less gold than planned, or hollows.
    Low,
    /// Heavier than that: more gold than planned, or something heavy in it.
    High,
}

impl Verdict {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Agrees => "agrees",
            Self::TellsNothing => "tells-nothing",
            Self::Low => "low",
            Self::High => "high",
        }
    }
}

/// The proof.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proof {
    /// Density found, to a thousandth of a kg/m3.
    pub density: Density,
    /// Its standard uncertainty, kg/m3.
    pub density_u: Decimal,
    /// What that is made of, the greatest first.
    pub terms: Vec<Term>,
    /// Density that the alloy ought to have.
    pub expected: Density,
    /// Standard uncertainty of that, kg/m3.
    pub expected_u: Decimal,
    /// Gold by density alone, per mille, if the other metals keep their proportion; it may fall
    /// outside 0 to 1000 for a piece that is not what was planned.
    pub gold_ppt: Decimal,
    /// Standard uncertainty of that, per mille; measurement and model together.
    pub gold_u_ppt: Decimal,
    /// The part of it that is the model's, per mille.
    pub model_u_ppt: Decimal,
    /// Probability that a piece of exactly the planned alloy shows this density or a lower one.
    pub chance_this_low: Decimal,
    /// Probability that the fineness is at least the lowest lawful one, by this proof alone.
    pub chance_lawful: Decimal,
    /// What it says.
    pub verdict: Verdict,
}

/// How far from the expected density a piece still agrees, in standard uncertainties.
const REACH: f64 = 2.0;
/// From so much doubt of the gold (two standard uncertainties, per mille) an agreement tells nothing:
/// the standards 916, 750 and 585 of ISO 9202 lie 165 and more above the next one down, so an alloy
/// of that would agree as well.
const NEXT_MARK: f64 = 165.0;

/// Proves two weighings.
pub fn prove(weighings: &Weighings) -> Result<Proof, Trouble> {
    let Weighings { in_air, doubts, .. } = weighings;
    let difference = match weighings.in_water {
        InWater::Hung(shown) => *in_air - shown,
        InWater::Displaced(shown) => shown,
    };
    if !in_air.is_positive() || !difference.is_positive() || difference >= *in_air {
        return Err(trouble(
            "the two masses do not fit together: in water a piece of metal weighs less than in air, but not nothing",
            "Weigh again: dry in air, then hung free in the water without touching the vessel.",
        ));
    }
    let water = water_density(weighings.water_celsius).ok_or_else(|| {
        trouble(
            "the water is not between 0 and 40 C",
            "Measure the water's temperature in degrees Celsius.",
        )
    })?;
    let air = weighings.air.density().ok_or_else(|| {
        trouble(
            "the air's temperature, pressure or humidity is none that a bench has",
            "Give the pressure in pascal, as in 101325, or leave the air out.",
        )
    })?;
    let expectation = Expectation::of(&weighings.planned, doubts).ok_or_else(|| {
        trouble(
            "the planned alloy has no other metal whose density could tell it from fine gold",
            "Prove fine gold by assay; density says little of it.",
        )
    })?;
    let worked = (|| {
        let measured = Measured::of(
            weighings,
            number(in_air.grams())?,
            number(difference.grams())?,
            number(water.in_kg_per_m3())?,
            number(air.in_kg_per_m3())?,
        )?;
        proof(&measured, &expectation, weighings)
    })();
    worked.ok_or_else(|| {
        trouble(
            "the figures are beyond what can be reckoned",
            "Check the masses and the doubts given.",
        )
    })
}

/// The density found and its terms.
struct Measured {
    density: f64,
    terms: Vec<(&'static str, f64)>,
}

impl Measured {
    fn of(weighings: &Weighings, mass: f64, difference: f64, water: f64, air: f64) -> Option<Self> {
        let doubts = &weighings.doubts;
        let lift = water - air;
        let density = air + mass * lift / difference;
        // Partial derivatives of rho = air + mass (water - air) / difference.
        let by_mass = lift / difference;
        let by_difference = -mass * lift / (difference * difference);
        let by_water = mass / difference;
        let by_air = 1.0 - by_water;
        let reading = number(doubts.reading.grams())?;
        // Hung, the mass in air stands in the difference too; displaced, they are apart.
        let in_air = match weighings.in_water {
            InWater::Hung(_) => by_mass + by_difference,
            InWater::Displaced(_) => by_mass,
        };
        let terms = vec![
            ("mass in air", in_air * reading),
            ("mass with the water", by_difference * reading),
            (
                "temperature of the water",
                by_water * slope(weighings.water_celsius)? * number(doubts.celsius)?,
            ),
            (
                "salts and air in the water",
                by_water * number(doubts.water)?,
            ),
            ("air", by_air * air * number(doubts.air_ppt)? / 1000.0),
            ("thread", by_difference * number(doubts.thread.grams())?),
            ("bubbles", by_difference * number(doubts.bubbles.grams())?),
        ];
        Some(Self { density, terms })
    }

    fn u(&self) -> f64 {
        self.terms.iter().map(|(_, u)| u * u).sum::<f64>().sqrt()
    }
}

/// Change of the water's density with its temperature, kg/m3 per kelvin, between a tenth of a
/// kelvin below and above, kept inside the formula's range.
fn slope(celsius: Decimal) -> Option<f64> {
    let step = decimal(1, 1);
    let low = (celsius - step).max(Decimal::ZERO);
    let high = (celsius + step).min(decimal(40, 0));
    let fall = water_density(high)?.in_kg_per_m3() - water_density(low)?.in_kg_per_m3();
    number(fall.checked_div(high - low)?)
}

/// What the alloy ought to weigh, in kg/m3.
struct Expectation {
    density: f64,
    u: f64,
    /// Change of density with gold, kg/m3 per per mille, the other metals keeping their proportion.
    per_ppt: f64,
}

/// Densities between which metal of which nothing is known is taken to lie, kg/m3: brass and
/// fine silver, as the metals that gold is alloyed with (common practice).
const UNKNOWN: (f64, f64) = (8400.0, 10500.0);

impl Expectation {
    /// `None` without metal beside the gold.
    fn of(metal: &Composition, doubts: &Doubts) -> Option<Self> {
        // Volume of one gram, the known others and the unknown apart, cm3.
        let part = |parts: Decimal| Some(number(parts)? / 3000.0);
        let gold = part(metal.three_thousandths(Element::Au))?;
        let unknown = part(metal.unknown())?;
        let (mut others, mut volume) = (unknown, 0.0);
        for element in Element::all().filter(|element| *element != Element::Au) {
            let mass = part(metal.three_thousandths(element))?;
            others += mass;
            volume += mass / number(element.density())? / 1000.0;
        }
        let (light, heavy) = UNKNOWN;
        let (widest, least) = (unknown / light, unknown / heavy);
        volume += f64::midpoint(widest, least);
        let volume_u = (widest - least) / 12.0_f64.sqrt(); // rectangular
        if others <= 0.0 {
            return None;
        }
        let gold_density = number(Element::Au.density())? * 1000.0;
        let density = (gold + others) / (gold / gold_density + volume);
        let per_ppt = -density * density * (1.0 / gold_density - volume / others) / 1000.0;
        let model = density * number(doubts.model_ppt)? / 1000.0;
        Some(Self {
            density,
            u: model.hypot(density * density * volume_u),
            per_ppt,
        })
    }
}

fn proof(measured: &Measured, expected: &Expectation, weighings: &Weighings) -> Option<Proof> {
    let apart = measured.density - expected.density;
    let both = measured.u().hypot(expected.u);
    // Metals about as dense as gold leave density without a say.
    if both <= 0.0 || expected.per_ppt.abs() < 1e-3 {
        return None;
    }
    let planned = number(weighings.planned.gold().three_thousandths())? / 3.0;
    let lowest = number(weighings.lowest.three_thousandths())? / 3.0;
    let gold = planned + apart / expected.per_ppt;
    let gold_u = both / expected.per_ppt.abs();
    let mut terms: Vec<Term> = Vec::new();
    for (name, u) in &measured.terms {
        terms.push(Term {
            name,
            kg_per_m3: rounded(u.abs(), 3)?,
        });
    }
    terms.sort_by_key(|term| std::cmp::Reverse(term.kg_per_m3));
    let z = apart / both;
    Some(Proof {
        density: Density::kg_per_m3(rounded(measured.density, 3)?)?,
        density_u: rounded(measured.u(), 3)?,
        terms,
        expected: Density::kg_per_m3(rounded(expected.density, 3)?)?,
        expected_u: rounded(expected.u, 3)?,
        gold_ppt: rounded(gold, 2)?,
        gold_u_ppt: rounded(gold_u, 2)?,
        model_u_ppt: rounded(expected.u / expected.per_ppt.abs(), 2)?,
        chance_this_low: chance(z)?,
        chance_lawful: chance((gold - lowest) / gold_u)?,
        verdict: if z < -REACH {
            Verdict::Low
        } else if z > REACH {
            Verdict::High
        } else if gold_u * REACH > NEXT_MARK {
            Verdict::TellsNothing
        } else {
            Verdict::Agrees
        },
    })
}

/// The standard normal distribution function.
fn normal(z: f64) -> f64 {
    0.5 * statrs::function::erf::erfc(-z / std::f64::consts::SQRT_2)
}

/// The same to four decimals, never 0 or 1: nothing measured is certain.
fn chance(z: f64) -> Option<Decimal> {
    rounded(normal(z).clamp(0.0001, 0.9999), 4)
}

fn number(decimal: Decimal) -> Option<f64> {
    decimal.to_f64()
}

fn rounded(number: f64, decimals: u32) -> Option<Decimal> {
    Some(Decimal::from_f64(number)?.round_dp(decimals))
}

impl Proof {
    /// What the density says, what it cannot say, and what to do, in sentences for the bench.
    pub fn words(&self) -> Vec<String> {
        let seen = fixed(self.gold_u_ppt * Decimal::TWO, 0);
        let mut words = vec![match self.verdict {
            Verdict::Agrees => format!(
                "The piece has {}, and the planned alloy ought to have about {}: they agree.",
                self.density, self.expected
            ),
            Verdict::TellsNothing => format!(
                "This proof tells nothing: the piece may hold {seen} ‰ of gold more or less than planned, and would agree as a piece of the next mark down too."
            ),
            Verdict::Low => format!(
                "The piece has {}, less than the {} that the planned alloy ought to have.",
                self.density, self.expected
            ),
            Verdict::High => format!(
                "The piece has {}, more than the {} that the planned alloy ought to have.",
                self.density, self.expected
            ),
        }];
        if self.verdict != Verdict::TellsNothing {
            words.push(format!(
                "Density alone does not see a difference in gold below about {seen} ‰: it finds a wrong lot or a forgotten addition, and cannot show that the mark is met."
            ));
        }
        match self.verdict {
            Verdict::Agrees => words.push(
                "A core of tungsten would pass this proof, and so would more silver that hides less gold; an assay tells them apart."
                    .to_owned(),
            ),
            Verdict::TellsNothing => words.push(
                "Take it as not proved: do not mark it by this, and have it assayed if it matters."
                    .to_owned(),
            ),
            Verdict::Low => words.push(
                "Either there is less gold in it than planned, or it has pores, or bubbles clung to it, or it touched the vessel: wet it with a drop of soap, brush it under water and weigh again, hanging free; roll a porous button before an assay."
                    .to_owned(),
            ),
            Verdict::High => words.push(
                "Either there is more gold or other heavy metal in it than planned, or it was not wholly under water: weigh it again."
                    .to_owned(),
            ),
        }
        match self.terms.first() {
            Some(worst) if self.density_u > self.expected_u => words.push(format!(
                "Most of the doubt comes from the {}; a heavier piece or a finer balance would say more.",
                worst.name
            )),
            _ if self.verdict == Verdict::TellsNothing => words.push(
                "Most of the doubt is what the alloy is made of beside gold; with that known a weighing would say more."
                    .to_owned(),
            ),
            _ => {}
        }
        words
    }
}

fn trouble(why: &str, mend: &str) -> Trouble {
    Trouble::new(
        "proof-unreckoned",
        format!("The density says nothing yet: {why}."),
        "The button stands unproven, as before.",
        mend,
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_normal_distribution_is_the_published_one() {
        for (z, wanted) in [
            (1.281_552, 0.90),
            (1.644_854, 0.95),
            (1.959_964, 0.975),
            (3.090_232, 0.999),
            ((586.0 - 585.0) / 0.8, 0.8944),
            (0.0, 0.5),
        ] {
            assert!((normal(z) - wanted).abs() < 5e-5, "{z}");
        }
        assert!((normal(-6.0) - 9.87e-10).abs() < 1e-12);
    }
}
