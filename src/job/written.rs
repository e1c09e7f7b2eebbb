//! How values of the trade stand in a job file: as strings, through `Display` and `FromStr`.

use rust_decimal::Decimal;

use super::check::UnitBy;
use crate::mass::{CheckWeight, Division, Indication, Unit};
use crate::metal::{Basis, Colour, Composition, Fineness, Purpose};

/// Serde through `Display` and `FromStr`: numbers are strings in files.
pub(super) mod text {
    use std::fmt::Display;
    use std::str::FromStr;

    use serde::{Deserialize, Deserializer, Serializer, de};

    use super::Written;

    pub(in crate::job) fn serialize<T: Written, S: Serializer>(
        value: &T,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&value.written())
    }

    pub(in crate::job) fn deserialize<'de, T, D>(deserializer: D) -> Result<T, D::Error>
    where
        T: FromStr<Err: Display>,
        D: Deserializer<'de>,
    {
        String::deserialize(deserializer)?
            .parse()
            .map_err(de::Error::custom)
    }
}

/// The same for what may be missing.
pub(super) mod text_option {
    use std::fmt::Display;
    use std::str::FromStr;

    use serde::{Deserialize, Deserializer, Serializer, de};

    use super::Written;

    #[allow(clippy::ref_option)] // the signature that serde's `with` asks for
    pub(in crate::job) fn serialize<T: Written, S: Serializer>(
        value: &Option<T>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        match value {
            Some(value) => serializer.serialize_some(&value.written()),
            None => serializer.serialize_none(),
        }
    }

    pub(in crate::job) fn deserialize<'de, T, D>(deserializer: D) -> Result<Option<T>, D::Error>
    where
        T: FromStr<Err: Display>,
        D: Deserializer<'de>,
    {
        Option::<String>::deserialize(deserializer)?
            .map(|text| text.parse().map_err(de::Error::custom))
            .transpose()
    }
}

/// How a value is written in a file, so that it reads back the same.
pub(super) trait Written {
    fn written(&self) -> String;
}

impl Written for Fineness {
    fn written(&self) -> String {
        self.stated_text()
    }
}

macro_rules! written_as_displayed {
    ($($kind:ty),+) => { $(impl Written for $kind {
        fn written(&self) -> String {
            self.to_string()
        }
    })+ };
}

written_as_displayed!(
    Composition,
    Indication,
    Division,
    Colour,
    Purpose,
    Basis,
    Decimal,
    CheckWeight,
    Unit,
    UnitBy
);
