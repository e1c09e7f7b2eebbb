//! How a port is to be set up: name, speed, framing, flow control, DTR.
//!
//! Promises: framing text like `8N1` is read and written the same way, and an odd one is refused
//! with what is known. Leaves to others: opening anything, and whether a port keeps what it is
//! told.

use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;

use crate::trouble::Trouble;

/// Bits of data in a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DataBits {
    /// Seven, common with a parity bit.
    Seven,
    /// Eight.
    Eight,
}

/// The check bit behind the data bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Parity {
    /// No check bit.
    None,
    /// The ones, check bit included, are odd in number.
    Odd,
    /// The ones, check bit included, are even in number.
    Even,
}

/// Bits of rest behind a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StopBits {
    /// One.
    One,
    /// Two.
    Two,
}

/// Who tells whom to wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Flow {
    /// Nobody: the usual case.
    #[default]
    None,
    /// XON and XOFF bytes in the stream.
    Software,
    /// The RTS and CTS wires.
    Hardware,
}

/// Data bits, parity and stop bits together, written `8N1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Framing {
    /// Bits of data.
    pub data_bits: DataBits,
    /// The check bit.
    pub parity: Parity,
    /// Bits of rest.
    pub stop_bits: StopBits,
}

impl Framing {
    /// Eight data bits, no parity, one stop bit.
    pub const EIGHT_NONE_ONE: Self = Self {
        data_bits: DataBits::Eight,
        parity: Parity::None,
        stop_bits: StopBits::One,
    };

    /// Bits that one character takes on the wire, the start bit included.
    pub fn bits_per_character(self) -> u32 {
        let data = match self.data_bits {
            DataBits::Seven => 7,
            DataBits::Eight => 8,
        };
        let check = u32::from(self.parity != Parity::None);
        let rest = match self.stop_bits {
            StopBits::One => 1,
            StopBits::Two => 2,
        };
        1 + data + check + rest
    }
}

impl fmt::Display for Framing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let data = match self.data_bits {
            DataBits::Seven => '7',
            DataBits::Eight => '8',
        };
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Odd => 'O',
            Parity::Even => 'E',
        };
        let stop = match self.stop_bits {
            StopBits::One => '1',
            StopBits::Two => '2',
        };
        write!(f, "{data}{parity}{stop}")
    }
}

impl FromStr for Framing {
    type Err = Trouble;

    /// Reads `8N1`, `7E1`, `7o2`: data bits, parity letter, stop bits.
    fn from_str(text: &str) -> Result<Self, Trouble> {
        let read = || {
            let mut marks = text.chars();
            let data_bits = match marks.next()? {
                '7' => DataBits::Seven,
                '8' => DataBits::Eight,
                _ => return None,
            };
            let parity = match marks.next()?.to_ascii_uppercase() {
                'N' => Parity::None,
                'O' => Parity::Odd,
                'E' => Parity::Even,
                _ => return None,
            };
            let stop_bits = match marks.next()? {
                '1' => StopBits::One,
                '2' => StopBits::Two,
                _ => return None,
            };
            marks.next().is_none().then_some(Self {
                data_bits,
                parity,
                stop_bits,
            })
        };
        read().ok_or_else(|| {
            Trouble::new(
                "framing-unreadable",
                format!("\"{text}\" is not a framing that is known."),
                "The port cannot be set up, so nothing is read from the balance.",
                "Write data bits 7 or 8, parity N, E or O, and stop bits 1 or 2, as in 8N1 or 7E1; the balance's manual or menu says which.",
            )
        })
    }
}

/// How a port is to be opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortSettings {
    /// Its name, best a stable one; a link is followed.
    pub path: PathBuf,
    /// Bits a second.
    pub speed: u32,
    /// Bits of data in a character.
    pub data_bits: DataBits,
    /// The check bit.
    pub parity: Parity,
    /// Bits of rest behind a character.
    pub stop_bits: StopBits,
    /// Who tells whom to wait.
    pub flow: Flow,
    /// The DTR wire: raised, lowered, or left as the system has it. Some balances only talk while
    /// it is raised, others start anew when it changes.
    pub dtr: Option<bool>,
}

impl PortSettings {
    /// A port of this name, speed and framing, no flow control, DTR left alone.
    pub fn new(path: impl Into<PathBuf>, speed: u32, framing: Framing) -> Self {
        Self {
            path: path.into(),
            speed,
            data_bits: framing.data_bits,
            parity: framing.parity,
            stop_bits: framing.stop_bits,
            flow: Flow::None,
            dtr: None,
        }
    }

    /// The framing asked for.
    pub fn framing(&self) -> Framing {
        Framing {
            data_bits: self.data_bits,
            parity: self.parity,
            stop_bits: self.stop_bits,
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn framing_is_written_as_it_is_read() {
        for text in ["8N1", "7E1", "7O1", "8N2", "8E1", "7N2"] {
            assert_eq!(text.parse::<Framing>().unwrap().to_string(), text);
        }
        assert_eq!("7e1".parse::<Framing>().unwrap().to_string(), "7E1");
        assert_eq!("8N1".parse::<Framing>().unwrap(), Framing::EIGHT_NONE_ONE);
        assert_eq!("7E1".parse::<Framing>().unwrap().bits_per_character(), 10);
        assert_eq!("8E2".parse::<Framing>().unwrap().bits_per_character(), 12);
    }

    #[test]
    fn odd_framings_are_refused() {
        for text in [
            "", "8", "8N", "8N3", "9N1", "5N1", "8M1", "8N11", "N81", "8 N 1", "８N1",
        ] {
            let trouble = text.parse::<Framing>().unwrap_err();
            assert_eq!(trouble.code, "framing-unreadable", "{text}");
        }
    }
}
