//! The density of water by its temperature.
//!
//! Tanaka, Girard, Davis, Peuto and Bignell, Metrologia 38 (2001) 301-309: air-free water of ocean
//! composition at 101 325 Pa, 0 to 40 C. The formula is a quotient of polynomials, so it is worked
//! out exactly. Leaves to others: how far tap water differs (`proof` carries a term for it).

use rust_decimal::Decimal;

use super::Density;
use super::density::decimal;

/// The density of water at so many degrees Celsius; `None` outside 0 to 40.
///
/// rho = a5 (1 - (t - a1)^2 (t + a2) / (a3 (t + a4))) in kg/m3.
pub fn water_density(celsius: Decimal) -> Option<Density> {
    const A1: Decimal = decimal(3_983_035, 6);
    const A2: Decimal = decimal(301_797, 3);
    const A3: Decimal = decimal(5_225_289, 1);
    const A4: Decimal = decimal(6_934_881, 5);
    const A5: Decimal = decimal(999_974_950, 6);
    if !(Decimal::ZERO..=Decimal::new(40, 0)).contains(&celsius) {
        return None;
    }
    let from_peak = celsius - A1;
    let fall = from_peak * from_peak * (celsius + A2) / (A3 * (celsius + A4));
    Density::kg_per_m3((A5 * (Decimal::ONE - fall)).round_dp(6))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn the_published_table_comes_out() {
        for (celsius, published) in [
            (d("4"), d("999.9749")),
            (d("15"), d("999.1026")),
            (d("20"), d("998.2067")),
            (d("30"), d("995.6488")),
            (d("40"), d("992.2152")),
        ] {
            let found = water_density(celsius).unwrap().in_kg_per_m3();
            assert!(
                (found - published).abs() <= d("0.00006"),
                "{celsius} C: {found}"
            );
        }
    }

    #[test]
    fn outside_its_range_it_says_nothing() {
        assert!(water_density(d("0")).is_some());
        assert!(water_density(d("-0.1")).is_none());
        assert!(water_density(d("40.1")).is_none());
    }
}
