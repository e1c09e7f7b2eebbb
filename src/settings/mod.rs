//! Settings: find, read, check and explain them.
//!
//! Promises: what is read is whole, inside its bounds and fits together, or everything that is
//! wrong is told, with file, line and what to write instead; nothing is supposed in place of a
//! file that cannot be read. Defaults are those written out in `config/`. Leaves to others: making
//! folders, opening ports, and what the values do.

mod balance;
mod basis;
mod bell;
mod bench;
mod find;
mod folders;
mod law;
mod name;
mod number;
mod page;
mod section;
mod shelf;
mod source;
mod trouble;
mod value;

use std::sync::Arc;

pub use balance::{BalanceFile, request_bytes};
pub use basis::read_basis;
pub use bell::{BellSettings, SoundSettings};
pub use find::{SHIPPED_BALANCES, USB_SCALE};
pub use folders::{Environment, Folders};
pub use law::read_laws;
pub use number::PerMille;
pub use page::{BeyondSettings, PageSettings};
pub use shelf::read_shelf;
pub use source::read_ordinary;
pub use trouble::SettingsTrouble;

use rust_decimal::Decimal;

use crate::balance::{AskSpec, FrameSpec, LayoutSpec};
use crate::job::{BenchRules, Sends};
use crate::mass::{Mass, Unit};
use crate::melt::{Demand, Risk};
use crate::metal::{BasisRules, Fineness, Judged, MarkLaw, Price, Shelf};
use crate::port::PortSettings;
use crate::trouble::Trouble;
use number::{GIVE_AWAY, MINUS_TOLERANCE, RISK};
use section::{Known, Reading, Section};
use source::Source;

/// The shortest settings file that works, apart from the port's name.
pub const SHORTEST: &str = "\
[[bench]]
port = \"/dev/serial/by-id/NAME\"
balance = \"signed-fixed\"
division = \"0.01 g\"
";

/// The settings of the service.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The benches, at least one, in the order of the file.
    pub benches: Vec<BenchSettings>,
    /// The most gold given away, above the mark.
    pub give_away: PerMille,
    /// The most fine gold given away in a melt, where the shop limits what it costs.
    pub give_away_gold: Option<Mass>,
    /// The largest chance that a melt falls below the lowest lawful fineness, in thousandths.
    pub risk: PerMille,
    /// How far below the mark the law allows a melt to be.
    pub minus_tolerance: PerMille,
    /// The law of marks to advise by.
    pub law: Arc<MarkLaw>,
    /// How far each basis of a fineness may be believed.
    pub basis: Arc<BasisRules>,
    /// The bells.
    pub bell: BellSettings,
    /// The bench's page.
    pub page: PageSettings,
    /// The shop's metals.
    pub shelf: Arc<Shelf>,
    /// Where everything lies.
    pub folders: Folders,
}

/// One bench.
#[derive(Debug, Clone)]
pub struct BenchSettings {
    /// Its name; no other bench has it.
    pub name: String,
    /// The balance's port; of a USB scale only its name counts.
    pub port: PortSettings,
    /// What the balance sends, and how it is read.
    pub form: Form,
    /// What the bench goes by.
    pub rules: Arc<BenchRules>,
}

/// What a balance sends.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(clippy::large_enum_variant)] // one a bench
pub enum Form {
    /// Lines on a serial port.
    Lines {
        /// How they are framed.
        frame: FrameSpec,
        /// How they are read; it compiles.
        layout: LayoutSpec,
        /// How the balance is asked, if it must be.
        ask: Option<AskSpec>,
    },
    /// Reports of a USB HID scale, read by what the scale says of them.
    Reports {
        /// Whose tael the scale's tael is, if that is said.
        tael: Option<Unit>,
    },
}

impl Form {
    /// How it sends.
    pub fn sends(&self) -> Sends {
        match self {
            Self::Lines { ask: None, .. } => Sends::Lines,
            Self::Lines { ask: Some(_), .. } => Sends::Answers,
            Self::Reports { .. } => Sends::Reports,
        }
    }

    /// Whether it is a USB scale, which sends reports.
    pub fn is_scale(&self) -> bool {
        matches!(self, Self::Reports { .. })
    }
}

const TOP: Known = Known {
    table: "the settings",
    keys: &[
        ("window", "{ give_away = \"5 ppt\" }"),
        ("mark", "{ law = \"none\", minus_tolerance = \"0 ppt\" }"),
        ("bell", "{ desktop = true }"),
        ("page", "{ at = \"127.0.0.1:7726\" }"),
        (
            "bench",
            "[{ port = \"/dev/serial/by-id/NAME\", balance = \"signed-fixed\", division = \"0.01 g\" }]",
        ),
    ],
};
const WINDOW: Known = Known {
    table: "[window]",
    keys: &[
        (GIVE_AWAY.key, "\"5 ppt\""),
        ("give_away_cost", "\"12.00 EUR\""),
        (RISK.key, "\"25 ppt\""),
    ],
};
const MARK: Known = Known {
    table: "[mark]",
    keys: &[("law", "\"none\""), (MINUS_TOLERANCE.key, "\"0 ppt\"")],
};

impl Settings {
    /// Reads the settings file, the balance files that it names, and the shelf if there is one.
    ///
    /// # Errors
    /// Everything that is wrong in them, in the order of the files.
    pub fn read(folders: &Folders) -> Result<Self, SettingsTrouble> {
        let source =
            Source::read(&folders.settings)?.ok_or_else(|| trouble::missing(&folders.settings))?;
        let (shelf, of_shelf) = match read_shelf(folders) {
            Ok(shelf) => (Arc::new(shelf), None),
            Err(wrong) => (Arc::default(), Some(wrong)),
        };
        let mut elsewhere = Vec::new();
        let (laws, of_laws) = parted(read_laws(folders));
        let (basis, of_basis) = parted(read_basis(folders));
        let reading = Reading::new(&source);
        let parsed = reading.parse();
        let settings = parsed.as_ref().and_then(|parsed| {
            let top = Section::top(&reading, &TOP, parsed);
            let figures = (laws.as_deref(), basis.map(Arc::new));
            Self::of(&top, folders, &shelf, figures, &mut elsewhere)
        });
        drop(parsed);
        let mut wrong = reading.faults();
        wrong.extend(elsewhere);
        let files = [of_shelf, of_laws, of_basis];
        wrong.extend(
            files
                .iter()
                .flatten()
                .flat_map(SettingsTrouble::all)
                .cloned(),
        );
        match (settings, SettingsTrouble::of(wrong)) {
            (_, Some(wrong)) => Err(wrong),
            (Some(settings), None) if !settings.benches.is_empty() => Ok(settings),
            // An empty list of benches.
            _ => Err(trouble::no_bench(&source.name).into()),
        }
    }

    fn of(
        top: &Section<'_>,
        folders: &Folders,
        shelf: &Arc<Shelf>,
        (laws, basis): (Option<&[MarkLaw]>, Option<Arc<BasisRules>>),
        elsewhere: &mut Vec<Trouble>,
    ) -> Option<Self> {
        let window = top.table("window", &WINDOW);
        let (give_away, risk) = (window.per_mille(&GIVE_AWAY), window.per_mille(&RISK));
        let give_away_gold = gold_to_give(&window, shelf);
        let mark = top.table("mark", &MARK);
        let minus_tolerance = mark.per_mille(&MINUS_TOLERANCE);
        let law = laws.and_then(|laws| law::named(&mark, laws)).map(Arc::new);
        if let (Some(law), Some(minus)) = (&law, minus_tolerance) {
            within_law(&mark, law, minus);
        }
        let bell = bell::bell(&top.table("bell", &bell::BELL));
        let page = page::page(&top.table("page", &page::PAGE));
        let sections = top.tables("bench", &bench::BENCH);
        if !top.has("bench") {
            elsewhere.push(trouble::no_bench(&top.reading.source.name));
        }
        Some(Self {
            benches: bench::benches(&sections, folders, (shelf, law.as_ref()?), elsewhere),
            give_away: give_away?,
            give_away_gold,
            risk: risk?,
            minus_tolerance: minus_tolerance?,
            law: law?,
            basis: basis?,
            bell: bell?,
            page: page?,
            shelf: Arc::clone(shelf),
            folders: folders.clone(),
        })
    }

    /// The chance of falling below that is accepted, as a number from 0 to one half.
    pub fn chance(&self) -> Decimal {
        self.risk.amount() / Decimal::ONE_THOUSAND
    }

    /// What a melt of this target must be: not below the target less the minus tolerance, not
    /// above the target plus what may be given away.
    pub fn demand(&self, target: Fineness) -> Demand {
        Demand {
            target,
            lowest: target.less(self.minus_tolerance.amount()),
            highest: target.plus(self.give_away.amount()),
            risk: Risk::new(self.chance()).unwrap_or_default(),
        }
    }
}

/// The fine gold that the money typed buys.
fn gold_to_give(window: &Section<'_>, shelf: &Shelf) -> Option<Mass> {
    const KEY: &str = "give_away_cost";
    if !window.has(KEY) {
        return None;
    }
    let money = window.parsed::<Price>(KEY)?.value;
    let gold = shelf.gold_for(money.per_gram, &money.currency);
    if gold.is_none() {
        window.refuse(
            KEY,
            &format!(
                "No fine gold on the shelf has a price in {}, so it is not known how much gold that is.",
                money.currency
            ),
            "Give a fine gold of the shelf its price in that currency, or leave the limit out.",
        );
    }
    gold
}

/// A tolerance that was typed is one that the law gives to metal without solder, as a button is;
/// without a law that was chosen, the shop answers for it.
fn within_law(mark: &Section<'_>, law: &MarkLaw, minus: PerMille) {
    let whole = Fineness::pure();
    let lowest = law.lowest(whole, Judged::WithoutSolder);
    if law.key != law::USUAL && whole.less(minus.amount()) < lowest {
        let given = whole.three_thousandths() - lowest.three_thousandths();
        mark.refuse(
            MINUS_TOLERANCE.key,
            &format!(
                "{} gives metal without solder no more than {} ppt.",
                law.name,
                crate::mass::fixed(given / rust_decimal::Decimal::from(3), 2).normalize()
            ),
            "Write no more than that, or name the law that you go by.",
        );
    }
}

/// What was read, or what was wrong.
fn parted<T>(read: Result<T, SettingsTrouble>) -> (Option<T>, Option<SettingsTrouble>) {
    match read {
        Ok(read) => (Some(read), None),
        Err(wrong) => (None, Some(wrong)),
    }
}

/// The known word that a typed one was most likely meant to be.
pub(crate) fn nearest<'a>(typed: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    known
        .map(|word| (strsim::jaro_winkler(typed, word), word))
        .filter(|(likeness, _)| *likeness > 0.7)
        .max_by(|one, other| one.0.total_cmp(&other.0))
        .map(|(_, word)| word)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::fs;

    use super::*;

    /// Every table of the settings file.
    const TABLES: [&Known; 9] = [
        &TOP,
        &WINDOW,
        &MARK,
        &bell::BELL,
        &page::PAGE,
        &bench::BENCH,
        &bench::BENCH_STEADY,
        &bench::BENCH_PAN,
        &bench::BENCH_LINK,
    ];
    const SAMPLE: &str = include_str!("../../config/panbell.toml");

    /// Whether a sample writes a key, be it behind a `#`: `key =`, `[key]`, `[[key]]`, `[x.key]`.
    fn writes(sample: &str, key: &str) -> bool {
        sample.lines().any(|line| {
            let bare = line.trim_start_matches('#').trim_matches(['[', ']']);
            bare.split(" = ").next() == Some(key) || bare.rsplit('.').next() == Some(key)
        })
    }

    #[test]
    fn the_samples_write_every_known_key() {
        let balances: String = SHIPPED_BALANCES.iter().map(|(_, text)| *text).collect();
        let shelf = include_str!("../../config/shelf.toml");
        let all = TABLES.map(|known| (known, SAMPLE)).into_iter();
        let all = all.chain(balance::TABLES.map(|known| (known, balances.as_str())));
        let all = all.chain(shelf::TABLES.map(|known| (known, shelf)));
        let laws = include_str!("../../config/law.toml");
        let all = all.chain(law::TABLES.map(|known| (known, laws)));
        let bases = include_str!("../../config/basis.toml");
        for (known, sample) in all.chain(basis::TABLES.map(|known| (known, bases))) {
            for (key, _) in known.keys {
                assert!(writes(sample, key), "{key} of {}", known.table);
            }
        }
    }

    #[test]
    fn the_sample_says_the_bounds_that_are_checked() {
        let words = |text: &str| {
            let plain = text.lines().map(|line| line.trim_start_matches("# "));
            plain.collect::<Vec<_>>().join(" ")
        };
        for number in number::ALL {
            let (before, _) = SAMPLE.split_once(&format!("{} = ", number.key)).unwrap();
            let bounds = number.bounds();
            let (from_to, _) = bounds.rsplit_once(", ").unwrap();
            let (from_to, _) = from_to.rsplit_once(' ').unwrap();
            let told = words(before.rsplit("\n\n").next().unwrap());
            let told = told.rsplit(" = ").next().unwrap();
            assert!(
                told.contains(from_to.replacen("from", "From", 1).as_str()),
                "{from_to}: {told}"
            );
        }
    }

    /// A value that is wrong for every key is told for every key, so each known key is really read.
    #[test]
    fn every_known_key_is_read() {
        let home = tempfile::tempdir().unwrap();
        let folders = Folders::under(home.path());
        fs::create_dir(&folders.balances).unwrap();
        let own = folders.balances.join("own.toml");
        let read_settings = |text: &str| {
            fs::write(&folders.settings, text).unwrap();
            Settings::read(&folders).unwrap_err()
        };
        let read_balance = |text: &str| {
            fs::write(&own, text).unwrap();
            BalanceFile::find("own", &folders).unwrap_err()
        };
        let read_metals = |text: &str| {
            fs::write(&folders.shelf, text).unwrap();
            read_shelf(&folders).unwrap_err()
        };
        let read_own_law = |text: &str| {
            fs::write(home.path().join("law.toml"), text).unwrap();
            read_laws(&folders).unwrap_err()
        };
        let read_own_basis = |text: &str| {
            fs::write(home.path().join("basis.toml"), text).unwrap();
            read_basis(&folders).unwrap_err()
        };
        let check = |known: &Known, read: &dyn Fn(&str) -> SettingsTrouble| {
            for (key, _) in known.keys {
                let head = match known.table {
                    table if table.starts_with("[bench.") => format!("[[bench]]\n{table}\n"),
                    table if table.starts_with("[[law.") => format!("[[law]]\n{table}\n"),
                    table if table.starts_with('[') => format!("{table}\n"),
                    _ => String::new(),
                };
                let wrong = read(&format!("{head}{key} = 2001-01-01\n"));
                let told = wrong.all().any(|trouble| {
                    let text = format!("reads {key} = 2001-01-01. That is a date");
                    trouble.code == "settings-wrong-kind" && trouble.happened.contains(&text)
                });
                assert!(told, "{key} of {}: {wrong}", known.table);
            }
        };
        for known in TABLES {
            check(known, &read_settings);
        }
        for known in balance::TABLES {
            check(known, &read_balance);
        }
        for known in shelf::TABLES {
            check(known, &read_metals);
        }
        for known in law::TABLES {
            check(known, &read_own_law);
        }
        for known in basis::TABLES {
            check(known, &read_own_basis);
        }
    }
}
