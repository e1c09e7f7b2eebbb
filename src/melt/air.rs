//! The density of moist air, and what its lift takes off a weighing.
//!
//! CIPM-2007 (Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149-155) and the simplified
//! formula of OIML R 111-1, E.3. Conventional mass: air of 1.2 kg/m3, weights of 8000 kg/m3
//! (OIML D 28). One of the files that count in binary floating point, since the vapour pressure
//! is an exponential; what leaves is a rounded decimal. Leaves to others: what it means.

use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive as _, ToPrimitive as _};

use super::Density;
use super::density::decimal;
use crate::mass::Mass;

/// The air in the room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Air {
    /// Temperature in degrees Celsius.
    pub celsius: Decimal,
    /// Pressure in pascal, as it is at the bench and not reduced to the sea.
    pub pascal: Decimal,
    /// Relative humidity in per cent.
    pub humidity: Decimal,
}

impl Default for Air {
    /// 20 C, 101 325 Pa, 50 %: an ordinary room near the sea.
    fn default() -> Self {
        Self {
            celsius: Decimal::new(20, 0),
            pascal: Decimal::new(101_325, 0),
            humidity: Decimal::new(50, 0),
        }
    }
}

/// Density of the weights that a balance is adjusted with, by convention, in kg/m3.
const WEIGHTS: Decimal = decimal(8000, 0);

impl Air {
    /// Temperature, pressure and humidity as numbers; `None` outside 0 to 40 C, 600 to 1100 hPa
    /// or 0 to 100 %, where no bench stands.
    fn numbers(&self) -> Option<(f64, f64, f64)> {
        let inside = (Decimal::new(0, 0)..=Decimal::new(40, 0)).contains(&self.celsius)
            && (Decimal::new(60_000, 0)..=Decimal::new(110_000, 0)).contains(&self.pascal)
            && (Decimal::new(0, 0)..=Decimal::new(100, 0)).contains(&self.humidity);
        if !inside {
            return None;
        }
        Some((
            self.celsius.to_f64()?,
            self.pascal.to_f64()?,
            self.humidity.to_f64()?,
        ))
    }

    /// Density by CIPM-2007, with 400 ppm of carbon dioxide. The formula is recommended for 15 to
    /// 27 C and 600 to 1100 hPa; outside those temperatures it is still far better than a bench
    /// needs. `None` where no bench stands.
    pub fn density(&self) -> Option<Density> {
        let (celsius, pascal, humidity) = self.numbers()?;
        let kelvin = celsius + 273.15;
        // Saturation vapour pressure, enhancement factor, mole fraction of vapour.
        let saturation = (1.237_884_7e-5 * kelvin * kelvin - 1.912_131_6e-2 * kelvin
            + 33.937_110_47
            - 6.343_164_5e3 / kelvin)
            .exp();
        let enhancement = 1.000_62 + 3.14e-8 * pascal + 5.6e-7 * celsius * celsius;
        let vapour = humidity / 100.0 * enhancement * saturation / pascal;
        // Compressibility.
        let ratio = pascal / kelvin;
        let first = 1.581_23e-6 - 2.933_1e-8 * celsius
            + 1.104_3e-10 * celsius * celsius
            + (5.707e-6 - 2.051e-8 * celsius) * vapour
            + (1.989_8e-4 - 2.376e-6 * celsius) * vapour * vapour;
        let second = 1.83e-11 - 0.765e-8 * vapour * vapour;
        let compressibility = 1.0 - ratio * first + ratio * ratio * second;
        // Molar masses of dry air and of water, kg/mol; gas constant, J/(mol K).
        let (dry, water, gas) = (28.965_46e-3, 18.015_28e-3, 8.314_472);
        let density =
            pascal * dry / (compressibility * gas * kelvin) * (1.0 - vapour * (1.0 - water / dry));
        rounded(density)
    }

    /// Density by the simplified formula of OIML R 111-1, E.3:
    /// (0.34848 p - 0.009 h exp(0.061 t)) / (273.15 + t), p in hPa. Stated to have a relative
    /// uncertainty of 2 in 10 000 for 900 to 1100 hPa, 10 to 30 C and below 80 % (from memory); there
    /// it lies within 3 in 10 000 of CIPM-2007. `None` where no bench stands.
    pub fn density_simplified(&self) -> Option<Density> {
        let (celsius, pascal, humidity) = self.numbers()?;
        let lift = 0.348_48 * pascal / 100.0 - 0.009 * humidity * (0.061 * celsius).exp();
        rounded(lift / (273.15 + celsius))
    }
}

fn rounded(kg_per_m3: f64) -> Option<Density> {
    Density::kg_per_m3(Decimal::from_f64(kg_per_m3)?.round_dp(7))
}

/// The true mass of what a balance indicates in air of this density, for an object of this
/// density: indication (1 - air/8000) / (1 - air/object). `None` when the object is no heavier
/// than air.
pub fn true_mass(indication: Mass, air: Density, object: Density) -> Option<Mass> {
    let (air, object) = (air.in_kg_per_m3(), object.in_kg_per_m3());
    if object <= air {
        return None;
    }
    let lifted = Decimal::ONE - air / object;
    Mass::from_grams(
        (indication.grams() * (Decimal::ONE - air / WEIGHTS))
            .checked_div(lifted)?
            .round_dp(9),
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn both_formulas_give_the_checked_values() {
        for (celsius, pascal, humidity, cipm, simplified) in [
            (d("20"), d("101325"), d("50"), d("1.199314"), d("1.199294")),
            (d("22"), d("101325"), d("50"), d("1.190483"), d("1.190498")),
            (d("25"), d("95000"), d("60"), d("1.101972"), d("1.102045")),
            (d("20"), d("101325"), d("0"), d("1.204557"), d("1.204494")),
        ] {
            let air = Air {
                celsius,
                pascal,
                humidity,
            };
            let near = |found: Option<Density>, wanted: Decimal| {
                let found = found.unwrap().in_kg_per_m3();
                assert!((found - wanted).abs() <= d("0.000002"), "{air:?}: {found}");
            };
            near(air.density(), cipm);
            near(air.density_simplified(), simplified);
        }
        let outside = Air {
            pascal: d("1013"),
            ..Air::default()
        };
        assert!(outside.density().is_none()); // hectopascal taken for pascal
    }

    #[test]
    fn the_lift_of_air_is_taken_off_against_steel_weights() {
        let air = Density::kg_per_m3(d("1.2")).unwrap();
        let indication = Mass::from_grams(d("100")).unwrap();
        for (object, wanted) in [
            (d("19300"), d("99.991217")),
            (d("13300"), d("99.994022")),
            (d("8960"), d("99.998393")),
            (d("7133"), d("100.001824")),
        ] {
            let object = Density::kg_per_m3(object).unwrap();
            let found = true_mass(indication, air, object).unwrap().grams();
            assert!((found - wanted).abs() <= d("0.000001"), "{object}: {found}");
        }
        assert!(true_mass(indication, air, air).is_none());
    }
}
