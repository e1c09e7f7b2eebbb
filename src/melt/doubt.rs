//! How sure a melt is: first-order uncertainty of its fineness.
//!
//! The fineness of a melt is F = sum(m f) / M. With every mass m known to u(m) and every fineness
//! f to u(f), all independent, the law of propagation of uncertainty (JCGM 100:2008, 5.1.2) gives
//! u(F)^2 = sum((m/M)^2 u(f)^2) + sum(((f - F)/M)^2 u(m)^2). An error of the balance itself is in
//! every one of its weighings with the same sign, so its terms are added before they are squared
//! (5.2.2 and F.1.2.3 there): (sum((f - F)/M c))^2, with c what it does to each mass. A balance that
//! is off by a factor has c in proportion to m, and that sum is none: such an error changes how much
//! is melted, never its fineness. The sums are kept so that one more metal costs the same however
//! many went before. Binary floating point lives here; what decides a mass is rounded and checked
//! again exactly by the window.

use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive as _, ToPrimitive as _};
use statrs::function::erf::{erfc, erfc_inv};

use super::{Added, Demand, Mix};
use crate::mass::{Class, Division, Mass};
use crate::metal::Fineness;

/// A standard uncertainty of a fineness, in per mille. Never negative.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct FinenessDoubt(Decimal);

impl FinenessDoubt {
    /// Exactly known.
    pub const NONE: Self = Self(Decimal::ZERO);

    /// So many per mille; the magnitude counts.
    pub fn per_mille(ppt: Decimal) -> Self {
        Self(ppt.abs())
    }

    /// In per mille.
    pub fn to_per_mille(self) -> Decimal {
        self.0
    }
}

/// A standard uncertainty of a mass, in grams: the part that is each weighing's own, and the part
/// that every weighing of the balance has in common. Neither is negative.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct MassDoubt {
    own: f64,
    common: f64,
}

impl MassDoubt {
    /// Exactly known.
    pub const NONE: Self = Self {
        own: 0.0,
        common: 0.0,
    };

    /// So many grams, each weighing for itself; the magnitude counts, and what is no number counts
    /// as none.
    pub fn grams(grams: f64) -> Self {
        Self {
            own: magnitude(grams),
            common: 0.0,
        }
    }

    /// So many grams, written exactly, each weighing for itself.
    pub fn of_decimal(grams: Decimal) -> Self {
        Self::grams(grams.to_f64().unwrap_or(0.0))
    }

    /// The same with so many grams that all weighings of the balance have in common. Metals that
    /// are melted together are taken as weighed on one balance.
    #[must_use]
    pub fn with_common(self, grams: Decimal) -> Self {
        Self {
            common: magnitude(grams.to_f64().unwrap_or(0.0)),
            ..self
        }
    }

    /// One weighing on a balance: the readings at base and at load are each rounded to the
    /// division (d/sqrt(12) each), and repeat within the standard deviation `repeatability` in
    /// between (EURAMET cg-18's terms, from memory). A balance of an accuracy class may besides be
    /// off by the error allowed in service for loads of its first step, evenly (OIML R 76-1), and
    /// its calibration is known to the standard uncertainty `calibration`; both are common to all
    /// its weighings, and count together, since a class says how far a balance may have gone since
    /// it was calibrated.
    pub fn of_weighing(
        division: Division,
        repeatability: Option<Mass>,
        class: Option<Class>,
        calibration: Option<Mass>,
    ) -> Self {
        let d = grams(division.mass());
        let s = repeatability.map_or(0.0, grams);
        let e = class.map_or(0.0, |class| {
            grams(class.error_in_service(division, Mass::ZERO))
        });
        let c = calibration.map_or(0.0, grams);
        Self {
            own: magnitude((d * d / 6.0 + s * s).sqrt()),
            common: magnitude((e * e / 3.0 + c * c).sqrt()),
        }
    }

    /// Each weighing's own part as an exact decimal of grams, rounded up in its eighth digit.
    pub fn to_decimal(self) -> Decimal {
        up(self.own)
    }

    /// The part in common as an exact decimal of grams, rounded up in its eighth digit.
    pub fn common_to_decimal(self) -> Decimal {
        up(self.common)
    }

    /// Each weighing's own part, in grams.
    pub fn to_grams(self) -> f64 {
        self.own
    }

    /// The part in common, in grams.
    pub fn common_to_grams(self) -> f64 {
        self.common
    }
}

fn magnitude(number: f64) -> f64 {
    if number.is_finite() {
        number.abs()
    } else {
        0.0
    }
}

/// An exact decimal, rounded up in its eighth digit.
fn up(grams: f64) -> Decimal {
    Decimal::from_f64((grams * 1e8).ceil() / 1e8)
        .unwrap_or_default()
        .round_dp(8)
}

/// The largest chance that a finished melt falls below the lowest lawful fineness, and the factor
/// of the normal distribution that belongs to it (JCGM 106:2012, 7.3).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risk {
    chance: f64,
    factor: f64,
}

impl Risk {
    /// A chance above 0 and at most one half; `None` outside.
    pub fn new(chance: Decimal) -> Option<Self> {
        let chance = chance.to_f64()?;
        let factor = std::f64::consts::SQRT_2 * erfc_inv(2.0 * chance);
        (chance > 0.0 && chance <= 0.5 && factor.is_finite()).then_some(Self { chance, factor })
    }

    /// The chance.
    pub fn chance(self) -> f64 {
        self.chance
    }

    /// So many standard uncertainties must lie between the fineness and the limit.
    pub fn factor(self) -> f64 {
        self.factor
    }
}

impl Default for Risk {
    /// 2.5 per cent, the shop's usual (a choice, common practice).
    fn default() -> Self {
        Self {
            chance: 0.025,
            factor: 1.959_963_984_540_054,
        }
    }
}

/// What is uncertain about metals melted together.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Doubt {
    /// Sum of (m u(f))^2, g^2 ppt^2.
    finenesses: f64,
    /// Sums of u(m)^2 times f^0, f^1, f^2.
    masses: [f64; 3],
    /// Sums of what the balance itself does to each mass, times f^0, f^1.
    common: [f64; 2],
}

impl Doubt {
    /// Everything is exactly known.
    pub(super) const NONE: Self = Self {
        finenesses: 0.0,
        masses: [0.0; 3],
        common: [0.0; 2],
    };

    /// Whether everything is exactly known.
    pub(super) fn is_none(&self) -> bool {
        *self == Self::NONE
    }

    /// With one more metal.
    #[must_use]
    pub(super) fn with(
        self,
        mass: Mass,
        u_mass: MassDoubt,
        fineness: Fineness,
        u: FinenessDoubt,
    ) -> Self {
        let u = u.0.to_f64().unwrap_or(0.0);
        self.plus(grams(mass), u_mass, per_mille(fineness), u)
    }

    /// The same in grams and per mille.
    fn plus(self, m: f64, u_mass: MassDoubt, f: f64, uf: f64) -> Self {
        let um = u_mass.own * u_mass.own;
        let [none, one, two] = self.masses;
        let [off, off_gold] = self.common;
        Self {
            finenesses: self.finenesses + (m * uf) * (m * uf),
            masses: [none + um, one + um * f, two + um * f * f],
            common: [off + u_mass.common, off_gold + u_mass.common * f],
        }
    }

    /// The standard uncertainty in per mille of a melt of this mass in grams and this fineness in
    /// per mille.
    pub(super) fn of_melt(&self, mass: f64, fineness: f64) -> f64 {
        let [none, one, two] = self.masses;
        let masses = two - 2.0 * fineness * one + fineness * fineness * none;
        let [off, off_gold] = self.common;
        let common = off_gold - fineness * off;
        // A difference of nearly equal sums can come out a hair below nothing.
        (self.finenesses + masses.max(0.0) + common * common).sqrt() / mass
    }
}

/// The chance that a quantity known as `value` with standard uncertainty `u` lies at or above
/// `limit`, by the normal model: Phi((value - limit)/u) (JCGM 106:2012, 7.3.2).
pub fn chance_at_least(value: f64, u: f64, limit: f64) -> f64 {
    if u <= 0.0 {
        return if value >= limit { 1.0 } else { 0.0 };
    }
    0.5 * erfc((limit - value) / (u * std::f64::consts::SQRT_2))
}

/// A chance that is no certainty with six decimals, never 1 and never 0.
pub fn uncertain_digits(chance: f64) -> String {
    format!("{:.6}", chance.clamp(0.000_001, 0.999_999))
}

impl Mix {
    /// Halfway between the lowest fineness that is surely lawful, as well as this melt is known,
    /// and the give-away limit; never above that.
    pub(super) fn sure_aim(&self, demand: &Demand) -> Fineness {
        if self.doubt.is_none() {
            return demand.aim();
        }
        let sure = self.guarded(demand.lowest, demand.risk);
        sure.min(demand.highest).middle(demand.highest)
    }

    /// This fineness and the shop's guard above it: as high as a melt known as well as this one must
    /// be to be surely at least `lowest`, to a ten-thousandth of a per mille.
    pub(super) fn guarded(&self, lowest: Fineness, risk: Risk) -> Fineness {
        let guard = Decimal::from_f64(risk.factor * self.u_ppt()).unwrap_or_default();
        lowest.plus(guard.round_dp(4))
    }

    /// The chance that its true fineness is at least this, in per cent for people: `99.1 %`. Never
    /// rounded to certainty.
    pub fn chance_text(&self, limit: Fineness) -> String {
        let is_known = self.doubt.is_none();
        match self.chance_at_least(limit) * 100.0 {
            percent if percent >= 99.95 && !is_known => "over 99.9 %".to_owned(),
            percent if percent < 0.05 && !is_known => "under 0.1 %".to_owned(),
            percent => format!("{percent:.1} %"),
        }
    }

    /// The chance that its true fineness is at least this, with six decimals: 1 and 0 only where
    /// everything is exactly known; else at most 0.999999 and at least 0.000001.
    pub fn chance_digits(&self, limit: Fineness) -> String {
        let chance = self.chance_at_least(limit);
        if self.doubt.is_none() {
            format!("{chance:.6}")
        } else {
            uncertain_digits(chance)
        }
    }

    /// The standard uncertainty of its fineness, in per mille; none without metal.
    pub fn u_ppt(&self) -> f64 {
        match self.fineness() {
            Some(fineness) => self.doubt.of_melt(grams(self.mass()), per_mille(fineness)),
            None => 0.0,
        }
    }

    /// The chance that its true fineness is at least this, by the normal model.
    pub fn chance_at_least(&self, limit: Fineness) -> f64 {
        match self.fineness() {
            // An exact tie must not fall to the rounding of a quotient.
            Some(_) if self.doubt.is_none() => f64::from(u8::from(self.is_at_least(limit))),
            Some(fineness) => chance_at_least(per_mille(fineness), self.u_ppt(), per_mille(limit)),
            None => 0.0,
        }
    }

    /// Whether its fineness is at least this, exactly by mass balance, and by so many standard
    /// uncertainties beside.
    pub fn is_surely_at_least(&self, limit: Fineness, risk: Risk) -> bool {
        let mass = grams(self.mass());
        if mass <= 0.0 || !self.is_at_least(limit) {
            return false;
        }
        if self.doubt.is_none() {
            return true;
        }
        // The surplus is exact, so nothing cancels in the margin.
        let margin = self.surplus(limit).to_f64().unwrap_or(0.0) / 3.0 / mass;
        margin >= risk.factor * self.doubt.of_melt(mass, self.gold_ppt() / mass)
    }

    /// Its gold in grams times per mille, as near as binary can hold it.
    fn gold_ppt(&self) -> f64 {
        self.gold().three_thousandths().to_f64().unwrap_or(0.0) / 3.0
    }
}

/// The lawful edge of an addition drawn in towards the wasteful one, as far as it must be to be sure:
/// itself if it is sure already, `None` if not even the wasteful one is. Searched in binary, then
/// checked as everything else is.
pub(super) fn drawn_in(
    rest: &Mix,
    metal: Added,
    demand: &Demand,
    lawful: Mass,
    wasteful: Mass,
) -> Option<Mass> {
    let sure = |mass: Mass| {
        metal
            .to(rest, mass)
            .is_surely_at_least(demand.lowest, demand.risk)
    };
    if sure(lawful) {
        return Some(lawful);
    }
    if !sure(wasteful) {
        return None;
    }
    let (mass, gold) = (grams(rest.mass()), rest.gold_ppt());
    let (fineness, limit) = (per_mille(metal.gold), per_mille(demand.lowest));
    let u_gold = metal.u_gold.0.to_f64().unwrap_or(0.0);
    // How far above the limit and its guard the melt is, in per mille.
    let margin = |added: f64| {
        let whole = mass + added;
        let melt = (gold + added * fineness) / whole;
        let doubt = rest.doubt.plus(added, metal.u_mass, fineness, u_gold);
        melt - limit - demand.risk.factor * doubt.of_melt(whole, melt)
    };
    let good = last_sure(margin, grams(lawful), grams(wasteful));
    let inward = SEARCHED.copysign(grams(wasteful) - grams(lawful));
    [0.0, 1.0, 4.0, 16.0]
        .into_iter()
        .filter_map(|steps| to_mass(good + steps * inward))
        .map(|edge| edge.clamp(lawful.min(wasteful), lawful.max(wasteful)))
        .find(|edge| sure(*edge))
        .or(Some(wasteful))
}

/// Where a margin that is below nothing at `unsure` and not at `sure` comes to nothing, on the sure side
/// and near enough: false position as modified by Illinois (Dowell and Jarratt, BIT 11, 1971), with
/// halving where that is slow.
fn last_sure(margin: impl Fn(f64) -> f64, mut unsure: f64, mut sure: f64) -> f64 {
    let (mut below, mut above) = (margin(unsure), margin(sure));
    let mut last = None;
    for turn in 0..80 {
        if (unsure - sure).abs() < SEARCHED / 100.0 {
            break;
        }
        let between = sure + (unsure - sure) * above / (above - below);
        let is_between = between > unsure.min(sure) && between < unsure.max(sure);
        let at = if is_between && turn % 8 != 7 {
            between
        } else {
            f64::midpoint(unsure, sure)
        };
        let found = margin(at);
        let is_sure = found >= 0.0;
        if is_sure {
            (sure, above) = (at, found);
        } else {
            (unsure, below) = (at, found);
        }
        // An end that stays is made to count for less, so that it moves too.
        if last == Some(is_sure) {
            let stays = if is_sure { &mut below } else { &mut above };
            *stays /= 2.0;
        }
        last = Some(is_sure);
    }
    sure
}

/// The standard uncertainty of a melt in hundredths of a per mille, rounded up.
pub(super) fn centi_ppt(melt: &Mix) -> u32 {
    (melt.u_ppt() * 100.0).ceil().to_u32().unwrap_or(u32::MAX)
}

/// A mass in grams, as near as binary can hold it.
pub(super) fn grams(mass: Mass) -> f64 {
    mass.grams().to_f64().unwrap_or(0.0)
}

/// A fineness in per mille, as near as binary can hold it.
pub(super) fn per_mille(fineness: Fineness) -> f64 {
    fineness.three_thousandths().to_f64().unwrap_or(0.0) / 3.0
}

/// How near an edge is searched, in grams: a tenth of a microgram, as [`to_mass`] keeps.
const SEARCHED: f64 = 1e-7;

/// Grams from a search, to a tenth of a microgram; `None` beyond what a balance weighs.
pub(super) fn to_mass(grams: f64) -> Option<Mass> {
    Mass::from_grams(Decimal::from_f64(grams)?.round_dp(7))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mass::Division;
    use crate::mass::Indication;
    use crate::melt::{Added, Demand, NoWindow, edges, window};

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    fn demand(target: &str, give_away: i64) -> Demand {
        let target: Fineness = target.parse().unwrap();
        let highest = target.plus(Decimal::from(give_away));
        Demand {
            target,
            lowest: target,
            highest,
            risk: Risk::default(),
        }
    }

    #[test]
    fn two_metals_give_the_propagated_figure() {
        // 20.000 g at 416.67 (u 2.0) and 8.000 g at 999.9 (u 0.05), each mass u 0.001 g:
        // 583.305 and 1.4287, worked out from the formula above by hand.
        let known = |ppt: &str| FinenessDoubt::per_mille(ppt.parse().unwrap());
        let um = MassDoubt::grams(0.001);
        let mix = Mix::NOTHING
            .with_known(mass("20.000 g"), um, "10k".parse().unwrap(), known("2.0"))
            .with_known(mass("8.000 g"), um, "999.9".parse().unwrap(), known("0.05"));
        assert_eq!(
            mix.fineness().unwrap().to_per_mille(3).to_string(),
            "583.305"
        );
        assert!((mix.u_ppt() - 1.4287).abs() < 0.0005, "{}", mix.u_ppt());
    }

    #[test]
    fn what_is_not_sure_draws_the_lawful_edge_in() {
        // The same pair, known as a bench knows it: a stamp of 875 that may be 3 less, taken for
        // 873.5 (u 0.866), and a declared 752.0 (u 1.0); every mass with u = d/sqrt(6).
        let d: Division = "0.01 g".parse().unwrap();
        let um = MassDoubt::grams(0.01 / 6.0_f64.sqrt());
        let u = |ppt: &str| FinenessDoubt::per_mille(ppt.parse().unwrap());
        let rest = Mix::NOTHING
            .with_known(mass("14.86 g"), um, "873.5".parse().unwrap(), u("0.866"))
            .with_known(mass("4.12 g"), um, "752.0".parse().unwrap(), u("1.0"));
        let metal = Added {
            gold: Fineness::NONE,
            u_gold: FinenessDoubt::NONE,
            u_mass: um,
        };
        let found = edges(&rest, metal, &demand("750", 5)).unwrap();
        let close = |mass: Mass, wanted: f64| (grams(mass) - wanted).abs() < 5e-5;
        assert!(
            close(found.lower, 2.3160) && close(found.upper, 2.4217),
            "{found:?}"
        );
        let w = window(&rest, metal, &demand("750", 5), d).unwrap();
        let shown = [w.lower, w.aim, w.upper].map(|mass| d.show(mass).to_string());
        assert_eq!(shown, ["2.32 g", "2.36 g", "2.42 g"]);
        let melt = metal.to(&rest, w.upper);
        assert_eq!(
            melt.fineness().unwrap().to_per_mille(2).to_string(),
            "751.33"
        );
        assert!((melt.u_ppt() - 0.65).abs() < 0.005);
        assert!(melt.chance_at_least("750".parse().unwrap()) >= 0.975);

        let guessed =
            Mix::NOTHING.with_known(mass("14.86 g"), um, "873.5".parse().unwrap(), u("12"));
        let none = window(&guessed, metal, &demand("750", 5), d).unwrap_err();
        let NoWindow::NotSure { opens_at_ppt, .. } = none else {
            panic!("{none:?}")
        };
        let opens_at = i64::from(opens_at_ppt.unwrap());
        assert!(window(&guessed, metal, &demand("750", opens_at), d).is_ok());
        assert!(window(&guessed, metal, &demand("750", opens_at - 2), d).is_err());
        // What lies inside already and is not sure: no give-away helps, only gold does.
        let inside = Mix::NOTHING.with_known(mass("3 g"), um, "752".parse().unwrap(), u("2"));
        let none = window(&inside, metal, &demand("750", 5), d).unwrap_err();
        let NoWindow::NotSure { opens_at_ppt, .. } = none else {
            panic!("{none:?}")
        };
        assert_eq!(opens_at_ppt, None);
        let told = none.trouble("silver", metal.gold, &demand("750", 5), d);
        assert!(told.mend.contains("fine gold"), "{told}");
        assert!(window(&inside, Fineness::pure(), &demand("750", 5), d).is_ok());
    }

    #[test]
    fn quantiles_and_chances_are_those_of_the_normal_distribution() {
        // One-sided quantiles of the standard normal distribution, to 1e-6.
        for (risk, factor) in [
            ("0.1", 1.281_552),
            ("0.05", 1.644_854),
            ("0.025", 1.959_964),
            ("0.01", 2.326_348),
            ("0.001", 3.090_232),
        ] {
            let risk = Risk::new(risk.parse().unwrap()).unwrap();
            assert!((risk.factor() - factor).abs() < 1e-6, "{risk:?}");
        }
        assert!((chance_at_least(586.0, 0.8, 585.0) - 0.8944).abs() < 1e-4);
        assert_eq!(Risk::new("0".parse().unwrap()), None);
        assert_eq!(Risk::new("0.6".parse().unwrap()), None);
    }
}
