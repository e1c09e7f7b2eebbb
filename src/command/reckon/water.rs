//! What a weighing in water is reckoned with, as it is typed.

use clap::Args;
use rust_decimal::Decimal;

use super::{measure, number};
use crate::job::{Water, WaterWay};
use crate::trouble::Trouble;

/// The water and the air around a weighing in water.
#[derive(Debug, Args)]
pub(in crate::command) struct WaterArgs {
    /// Temperature of the water, degrees Celsius
    #[arg(long, value_name = "CELSIUS", default_value = "20")]
    water_temperature: String,
    /// Temperature of the room, degrees Celsius
    #[arg(long, value_name = "CELSIUS", default_value = "20")]
    air_temperature: String,
    /// Pressure of the air at the bench, not reduced to the sea: as 1013 hPa, or in pascal
    #[arg(long, value_name = "PRESSURE", default_value = "101325")]
    pressure: String,
    /// Relative humidity in per cent
    #[arg(long, value_name = "PERCENT", default_value = "50")]
    humidity: String,
}

impl WaterArgs {
    /// As numbers, or what is wrong with them.
    pub(in crate::command) fn read(&self, way: WaterWay) -> Result<Water, Trouble> {
        Ok(Water {
            way,
            water_celsius: celsius(&self.water_temperature)?,
            air_celsius: celsius(&self.air_temperature)?,
            pascal: pascal(&self.pressure)?,
            humidity: measure(&self.humidity, "%", 100, "humidity in per cent")?,
        })
    }
}

fn celsius(text: &str) -> Result<Decimal, Trouble> {
    measure(text, "C", 40, "temperature in degrees Celsius")
}

/// Pascal unless it says hectopascal.
fn pascal(text: &str) -> Result<Decimal, Trouble> {
    match text.trim().strip_suffix("hPa") {
        Some(text) => {
            Ok(number(text.trim(), 1100, "pressure in hectopascal")? * Decimal::ONE_HUNDRED)
        }
        None => measure(text, "Pa", 110_000, "pressure in pascal"),
    }
}
