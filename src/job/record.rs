//! The record: what a job file says, one event a line.
//!
//! These are the file's own types, version [`FORMAT`]. Masses and finenesses are strings, exactly
//! as weighed or stated. The writer puts `n` and `at` in front and `chain` behind; the state of a
//! job is the fold of its records and of nothing else.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

use crate::mass::{Division, Indication};
use crate::metal::{Basis, Colour, Composition, Fineness, Purpose};
use crate::trouble::{Trouble, is_harmful};
use rust_decimal::Decimal;

use super::bell::BellKind;
use super::check::{Checked, UnitBy};
use super::hold::Cause;
use super::terms::OrderId;
use super::written::{text, text_option};

/// The version of the job file. A file of a later version is read by no earlier panbell.
pub const FORMAT: u32 = 2;
/// The earliest version that is read: it knows no load that is weighed again in place of another,
/// no metal that is in no record, and no weighing that was left.
const EARLIEST: u32 = 1;

/// One event of a job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Record {
    /// The job begins.
    Open(Opened),
    /// A weighing begins: what the next mass will be.
    Expect {
        /// What it is of.
        #[serde(flatten)]
        what: What,
        /// A metal that was not planned at the opening and is from now on.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        metal: Option<AddedMetal>,
    },
    /// What is to be added, in place of what was planned before and is not weighed yet.
    Plan {
        /// The metals, in order.
        add: Vec<AddedMetal>,
    },
    /// What the weighing counts from: the pan as it stood.
    Base {
        /// As indicated.
        #[serde(with = "text")]
        base: Indication,
    },
    /// The pan at rest, where it differs from the reading before.
    Reading {
        /// As indicated.
        #[serde(with = "text")]
        gross: Indication,
        /// Above the base.
        #[serde(with = "text")]
        net: Indication,
        /// The line as it came.
        #[serde(flatten)]
        raw: Raw,
    },
    /// A mass is recorded.
    Capture(Captured),
    /// An earlier capture is set aside; it stays in the file.
    Withdraw {
        /// The `n` of the capture.
        capture: u64,
    },
    /// Nothing is captured from here on.
    Hold {
        /// Why.
        cause: Cause,
        /// Why, in words.
        why: String,
    },
    /// The cause of a hold is gone.
    Resume {
        /// Which.
        cause: Cause,
    },
    /// The person said what had happened to the pan.
    Answer {
        /// What.
        said: PanAnswer,
        /// What the weighing counts from after that.
        #[serde(with = "text_option", default, skip_serializing_if = "Option::is_none")]
        base: Option<Indication>,
    },
    /// The weighing that was under way is left; nothing of it is recorded.
    Leave {},
    /// The pan was emptied of what was recorded.
    Emptied {},
    /// Metal lies with a recorded load and is in no record, or was taken off it.
    Loose {
        /// The `n` of the load's capture.
        beside: u64,
        /// How much more than was recorded; less, if negative.
        #[serde(with = "text")]
        mass: Indication,
    },
    /// That metal is off the pan again, or back.
    Settled {
        /// The `n` of the load's capture.
        beside: u64,
    },
    /// The fineness that an assay found in the button.
    Assay(Assayed),
    /// A check weight was weighed while the job was open.
    CheckWeight {
        /// Its number in the book of check weights.
        check: u64,
        /// What came of it.
        #[serde(flatten)]
        checked: Checked,
    },
    /// The balance was seen to come back into the bench's unit from another: what was weighed
    /// since the last check weight that agreed is in doubt.
    Doubt {},
    /// The job is over.
    Close(Closed),
}

/// What the job is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Opened {
    /// Version of the file.
    pub format: u32,
    /// The name of the file, without its ending.
    pub job: String,
    /// The bench.
    pub bench: String,
    /// The ticket, as typed.
    pub ticket: String,
    /// The client's reference, as typed.
    pub client: String,
    /// The mark or fineness asked for.
    #[serde(with = "text")]
    pub target: Fineness,
    /// The lowest fineness that may carry it.
    #[serde(with = "text")]
    pub lowest: Fineness,
    /// The highest that does not give gold away.
    #[serde(with = "text")]
    pub highest: Fineness,
    /// No more fine gold than this is given away, in grams, where that is limited too.
    #[serde(with = "text_option", default, skip_serializing_if = "Option::is_none")]
    pub give_away_g: Option<Decimal>,
    /// The largest chance of falling below the lowest.
    #[serde(with = "text")]
    pub risk: Decimal,
    /// Standard uncertainty of one weighing by itself, in grams.
    #[serde(with = "text")]
    pub u_mass_g: Decimal,
    /// What of it all weighings have in common by the balance's own error, in grams; written where
    /// there is any.
    #[serde(default, skip_serializing_if = "Decimal::is_zero", with = "text")]
    pub u_balance_g: Decimal,
    /// The colour asked for.
    #[serde(with = "text")]
    pub colour: Colour,
    /// What it is for.
    #[serde(rename = "use", with = "text")]
    pub purpose: Purpose,
    /// The division, in the unit of the whole job.
    #[serde(with = "text")]
    pub division: Division,
    /// The metals to add, in order.
    pub add: Vec<AddedMetal>,
}

/// A metal to add.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AddedMetal {
    /// Its short name on the shelf, or its fineness.
    pub metal: String,
    /// Its name for people.
    pub name: String,
    /// Gold in it.
    #[serde(with = "text")]
    pub gold: Fineness,
    /// Standard uncertainty of that, per mille.
    #[serde(with = "text")]
    pub u_ppt: Decimal,
    /// What it is made of, to a tenth of a per mille.
    #[serde(with = "text")]
    pub made_of: Composition,
    /// Parts by mass against the other metals to add.
    #[serde(with = "text")]
    pub share: Decimal,
}

/// What a weighing is of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum What {
    /// A lot of the client's metal.
    Lot {
        /// Its fineness.
        #[serde(with = "text")]
        fineness: Fineness,
        /// What that rests on.
        #[serde(with = "text")]
        basis: Basis,
        /// The fineness that it is taken for: the middle of what the basis leaves open.
        #[serde(with = "text")]
        taken: Fineness,
        /// Standard uncertainty of that, per mille.
        #[serde(with = "text")]
        u_ppt: Decimal,
        /// A few words on it.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        note: String,
    },
    /// An addition, by its place in the list of metals to add, from 1.
    Addition {
        /// Its place.
        addition: usize,
    },
    /// The button.
    Button,
    /// The button in water: its proof by density.
    InWater(Water),
}

/// A button weighed with water, and what the density must be reckoned with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Water {
    /// How the button meets the water.
    pub way: WaterWay,
    /// Temperature of the water, degrees Celsius.
    #[serde(with = "text")]
    pub water_celsius: Decimal,
    /// Temperature of the room, degrees Celsius.
    #[serde(with = "text")]
    pub air_celsius: Decimal,
    /// Pressure at the bench, pascal.
    #[serde(with = "text")]
    pub pascal: Decimal,
    /// Relative humidity, per cent.
    #[serde(with = "text")]
    pub humidity: Decimal,
}

/// How the button meets the water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum WaterWay {
    /// It hangs from the balance into water that stands beside or below the pan.
    Hung,
    /// A vessel of water stands on the pan, and it hangs into that from outside.
    Displaced,
}

/// An assay of the button.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Assayed {
    /// The `n` of the button's capture.
    pub button: u64,
    /// The fineness found.
    #[serde(with = "text")]
    pub fineness: Fineness,
    /// By what.
    #[serde(with = "text")]
    pub basis: Basis,
    /// The fineness that it is taken for.
    #[serde(with = "text")]
    pub taken: Fineness,
    /// Standard uncertainty of that, per mille.
    #[serde(with = "text")]
    pub u_ppt: Decimal,
}

/// A recorded mass.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Captured {
    /// What of.
    #[serde(flatten)]
    pub what: What,
    /// The mass itself.
    #[serde(with = "text")]
    pub mass: Indication,
    /// What the balance showed.
    #[serde(with = "text")]
    pub gross: Indication,
    /// What it was counted from.
    #[serde(with = "text")]
    pub base: Indication,
    /// How it came to be recorded.
    pub how: How,
    /// The `n` of the capture of the same load that this one takes the place of: the load was weighed
    /// again after metal was laid on or taken off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead_of: Option<u64>,
    /// What its unit rests on.
    #[serde(with = "text", default)]
    pub unit_by: UnitBy,
    /// The line as it came.
    #[serde(flatten)]
    pub raw: Raw,
}

/// How a capture came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// By itself, when its conditions were met.
    Settled,
    /// By order.
    Taken,
}

/// What the person says happened to the pan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum PanAnswer {
    /// The balance's tare key was pressed; the metal is still there.
    Tared,
    /// The dish was lifted and is back.
    Back,
    /// Begin this weighing anew from what is on the pan.
    Anew,
}

/// A line as it came: text where it is text, else hexadecimal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Raw {
    /// The line.
    Raw(String),
    /// Its bytes, lower-case hexadecimal.
    RawHex(String),
}

impl Raw {
    /// Keeps a line, or the report of a USB scale. Bytes that no terminal shows make it
    /// hexadecimal; a report has such as a rule, and would be escaped byte by byte.
    pub fn of(line: &[u8]) -> Self {
        let shows = |text: &&str| !text.chars().any(|it| is_harmful(it) && it != '\t');
        match std::str::from_utf8(line).ok().filter(shows) {
            Some(text) => Self::Raw(text.to_owned()),
            None => Self::RawHex(line.iter().fold(String::new(), |mut hex, byte| {
                let _infallible = write!(hex, "{byte:02x}");
                hex
            })),
        }
    }
}

/// The sums of a finished job, as in its statement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Closed {
    /// The client's metal, whole.
    #[serde(with = "text")]
    pub lots: Indication,
    /// Everything that went into the melt.
    #[serde(with = "text")]
    pub melt: Indication,
    /// Fine gold in it, to a hundredth of the division.
    pub gold: String,
    /// Its fineness by mass balance, per mille to two decimals; empty without metal.
    pub fineness_ppt: String,
    /// What came out.
    #[serde(with = "text_option", default, skip_serializing_if = "Option::is_none")]
    pub button: Option<Indication>,
    /// What stood against the job when it was closed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
    /// Whether the balance set the last digit of its masses apart, as one not meant for payment.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub fine_digit: bool,
}

impl Record {
    /// The keys of the record as JSON text, without the braces: what the writer seals into a line.
    pub fn body(&self) -> Result<String, Trouble> {
        let text = serde_json::to_string(self).map_err(|error| unreadable(&error.to_string()))?;
        Ok(text
            .strip_prefix('{')
            .and_then(|t| t.strip_suffix('}'))
            .unwrap_or(&text)
            .to_owned())
    }

    /// The same, with the id of the order that the record carries out.
    pub fn body_of(&self, order: Option<&OrderId>) -> Result<String, Trouble> {
        let body = self.body()?;
        // An id is plain text that JSON does not escape.
        Ok(order.map_or(body.clone(), |id| format!("{body},\"order\":\"{id}\"")))
    }

    /// The id of the order that the record in a line carries out, if it has one.
    pub fn order_in(line: &[u8]) -> Option<OrderId> {
        #[derive(Deserialize)]
        struct Given {
            order: String,
        }
        let given: Given = serde_json::from_slice(line).ok()?;
        given.order.parse().ok()
    }

    /// Whether the weighing that was under way is no more, or counts from something else.
    pub(super) fn begins_anew(&self) -> bool {
        match self {
            Self::Open(_)
            | Self::Close(_)
            | Self::Expect { .. }
            | Self::Plan { .. }
            | Self::Leave {} => true,
            Self::Capture(captured) => captured.instead_of.is_none(),
            Self::Answer { said, .. } => *said != PanAnswer::Back,
            _ => false,
        }
    }

    /// Whether it changes what can be decided of the job, and not only what is known of the pan: no
    /// evidence that is appended without waiting does, since it may be lost on its way to the disk.
    pub(super) fn decides(&self) -> bool {
        !matches!(
            self,
            Self::Base { .. }
                | Self::Reading { .. }
                | Self::Emptied {}
                | Self::Loose { .. }
                | Self::Settled { .. }
                | Self::Hold { .. }
                | Self::Resume { .. }
        )
    }

    /// What is rung once it is on disk.
    pub(super) fn bell(&self) -> Option<BellKind> {
        match self {
            Self::Capture(_) => Some(BellKind::Recorded),
            Self::Close(_) => Some(BellKind::Done),
            _ => None,
        }
    }

    /// Reads the record in a whole line of a job file whose chain has been checked.
    pub fn from_line(line: &[u8]) -> Result<Self, Trouble> {
        let mut object: serde_json::Map<String, serde_json::Value> =
            serde_json::from_slice(line).map_err(|error| unreadable(&error.to_string()))?;
        for key in ["n", "at", "order", "chain"] {
            object.shift_remove(key);
        }
        let record: Self = serde_json::from_value(object.into())
            .map_err(|error| unreadable(&error.to_string()))?;
        match &record {
            Self::Open(opened) if !(EARLIEST..=FORMAT).contains(&opened.format) => {
                Err(unreadable(&format!(
                    "it is of version {}, this panbell reads {EARLIEST} to {FORMAT}",
                    opened.format
                )))
            }
            _ => Ok(record),
        }
    }
}

pub(super) fn unreadable(why: &str) -> Trouble {
    Trouble::new(
        "record-unreadable",
        format!("A line of the job file cannot be read: {why}."),
        "The job cannot be gone on with; the file is left as it is.",
        "Read it with the panbell that wrote it.",
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn round_trip(record: &Record) -> String {
        let line = format!(
            "{{\"n\":1,\"at\":\"2026-01-01T00:00:00Z\",{},\"chain\":\"00\"}}",
            record.body().unwrap()
        );
        assert_eq!(&Record::from_line(line.as_bytes()).unwrap(), record);
        record.body().unwrap()
    }

    #[test]
    fn records_keep_their_digits_and_read_back() {
        let capture = Record::Capture(Captured {
            what: What::Lot {
                fineness: "14k".parse().unwrap(),
                basis: Basis::Stamp,
                taken: "14k".parse().unwrap(),
                u_ppt: Decimal::ZERO,
                note: String::new(),
            },
            mass: "12.460 g".parse().unwrap(),
            gross: "12.460 g".parse().unwrap(),
            base: "0.000 g".parse().unwrap(),
            how: How::Settled,
            instead_of: None,
            unit_by: UnitBy::CheckWeight(3),
            raw: Raw::of(b"+ 12.460 g"),
        });
        assert_eq!(
            round_trip(&capture),
            r#""event":"capture","what":"lot","fineness":"14 k","basis":"stamp","taken":"14 k","u_ppt":"0","mass":"12.460 g","gross":"12.460 g","base":"0.000 g","how":"settled","unit_by":"check-weight 3","raw":"+ 12.460 g""#
        );
        round_trip(&Record::Expect {
            what: What::Addition { addition: 2 },
            metal: None,
        });
        round_trip(&Record::Reading {
            gross: "1.00 g".parse().unwrap(),
            net: "1.00 g".parse().unwrap(),
            raw: Raw::of(b"1.00 g \xff"),
        });
        round_trip(&Record::Answer {
            said: PanAnswer::Tared,
            base: Some("-2.30 g".parse().unwrap()),
        });
        round_trip(&Record::Hold {
            cause: Cause::Unit,
            why: "carats".into(),
        });
        round_trip(&Record::Withdraw { capture: 7 });
    }

    #[test]
    fn what_this_version_does_not_know_is_refused_not_skipped() {
        for line in [
            r#"{"n":1,"event":"melted"}"#,
            r#"{"n":1,"event":"withdraw","capture":"seven"}"#,
            "[]",
            "",
        ] {
            assert!(Record::from_line(line.as_bytes()).is_err(), "{line}");
        }
    }
}
