//! What the client chose: the colour, and what the metal is for.

use std::fmt;
use std::str::FromStr;

use super::basis::one_of;
use crate::trouble::Trouble;

macro_rules! word_enum {
    ($(#[$doc:meta])* $name:ident, $code:literal, $what:literal, { $($(#[$vdoc:meta])* $variant:ident = $word:literal,)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum $name { $($(#[$vdoc])* $variant,)+ }

        impl $name {
            /// Every value with the word that files and orders use.
            pub const WORDS: &'static [(&'static str, Self)] = &[$(($word, Self::$variant),)+];
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(match self { $(Self::$variant => $word,)+ })
            }
        }

        impl FromStr for $name {
            type Err = Trouble;
            fn from_str(text: &str) -> Result<Self, Trouble> {
                one_of(Self::WORDS, text, $code, $what)
            }
        }
    };
}

word_enum! {
    /// The colour asked for, by the handbook families.
    Colour, "colour-unknown", "colour of gold", {
        /// Rich or plain yellow.
        Yellow = "yellow",
        /// Pale yellow.
        PaleYellow = "pale-yellow",
        /// Pink or rose.
        Pink = "pink",
        /// Red.
        Red = "red",
        /// Green-yellow.
        Green = "green",
        /// White.
        White = "white",
    }
}

word_enum! {
    /// What the metal is to become.
    Purpose, "use-unknown", "use of the metal", {
        /// Lost-wax or sand casting.
        Casting = "casting",
        /// Rolled sheet.
        Sheet = "sheet",
        /// Drawn wire.
        Wire = "wire",
        /// Drawn tube.
        Tube = "tube",
        /// A ring blank or forged stock.
        Ring = "ring",
        /// Solder.
        Solder = "solder",
        /// Nothing said.
        Any = "any",
    }
}
