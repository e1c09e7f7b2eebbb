//! How far each basis of a fineness may be believed: the shipped figures, and the shop's own.
//!
//! Promises: every figure is read with its source; a figure that the shop does not write stays the
//! shipped one, and a file that cannot be read is told. Leaves to others: what follows from the
//! figures (`metal::Stated`).

use super::Folders;
use super::section::{Known, Reading, Section};
use super::source::Source;
use super::trouble::{MEANS, SettingsTrouble};
use crate::metal::{BasisRules, Fineness, Rule};
use crate::trouble::Trouble;

const TOP: Known = Known {
    table: "the bases",
    keys: &[
        ("stamp", "{ minus = \"3 ppt\" }"),
        ("stamp_soldered", "{ minus = \"7 ppt\" }"),
        ("stamp_old", "{ minus = \"0.5 k\" }"),
        ("stamp_old_soldered", "{ minus = \"1 k\" }"),
        ("touchstone", "{ u = \"24 ppt\" }"),
        ("xrf", "{ u = \"5 ppt\" }"),
        ("fire_assay", "{ u = \"0.5 ppt\" }"),
        ("declared", "{ u = \"10 ppt\" }"),
    ],
};
const STAMP: Known = stamp("[stamp]");
const STAMP_SOLDERED: Known = stamp("[stamp_soldered]");
const STAMP_OLD: Known = stamp("[stamp_old]");
const STAMP_OLD_SOLDERED: Known = stamp("[stamp_old_soldered]");
const TOUCHSTONE: Known = measured("[touchstone]");
const XRF: Known = measured("[xrf]");
const FIRE_ASSAY: Known = measured("[fire_assay]");
const DECLARED: Known = measured("[declared]");
/// Every table of a file of bases.
#[cfg(test)]
pub(super) const TABLES: [&Known; 9] = [
    &TOP,
    &STAMP,
    &STAMP_SOLDERED,
    &STAMP_OLD,
    &STAMP_OLD_SOLDERED,
    &TOUCHSTONE,
    &XRF,
    &FIRE_ASSAY,
    &DECLARED,
];

const fn stamp(table: &'static str) -> Known {
    Known {
        table,
        keys: &[("minus", "\"3 ppt\""), ("source", "\"the shop's own\"")],
    }
}

const fn measured(table: &'static str) -> Known {
    Known {
        table,
        keys: &[("u", "\"5 ppt\""), ("source", "\"the shop's own\"")],
    }
}

/// The shipped figures.
const SHIPPED: &str = include_str!("../../config/basis.toml");
/// The largest span, in per mille: beyond it a basis says nothing.
const LARGEST: &str = "200 ppt";
/// The source of a figure that the shop wrote without one.
const OWN: &str = "the shop's own figure";

/// The figures in force: those of `basis.toml` beside the settings, and the shipped ones for what
/// it does not write.
///
/// # Errors
/// Everything that is wrong in the shop's own file.
pub fn read_basis(folders: &Folders) -> Result<BasisRules, SettingsTrouble> {
    let shipped = of_source(&Source::shipped("basis", SHIPPED), None)?;
    match Source::read(&folders.settings.with_file_name("basis.toml"))? {
        Some(source) => of_source(&source, Some(&shipped)),
        None => Ok(shipped),
    }
}

fn of_source(source: &Source, usual: Option<&BasisRules>) -> Result<BasisRules, SettingsTrouble> {
    let reading = Reading::new(source);
    let parsed = reading.parse();
    let rules = parsed
        .as_ref()
        .and_then(|parsed| rules(&Section::top(&reading, &TOP, parsed), usual));
    drop(parsed);
    match (rules, SettingsTrouble::of(reading.faults())) {
        (_, Some(wrong)) => Err(wrong),
        (Some(rules), None) => Ok(rules),
        (None, None) => Err(Trouble::new(
            "settings-value",
            format!("{} cannot be used.", source.name),
            MEANS,
            "Compare it with the shipped one.",
        )
        .into()),
    }
}

fn rules(top: &Section<'_>, usual: Option<&BasisRules>) -> Option<BasisRules> {
    let rule = |key, known, of: fn(&BasisRules) -> &Rule| {
        if usual.is_none() {
            top.need(key);
        }
        rule(&top.table(key, known), usual.map(of))
    };
    let stamp = rule("stamp", &STAMP, |usual| &usual.stamp);
    let stamp_soldered = rule("stamp_soldered", &STAMP_SOLDERED, |usual| {
        &usual.stamp_soldered
    });
    let stamp_old = rule("stamp_old", &STAMP_OLD, |usual| &usual.stamp_old);
    let stamp_old_soldered = rule("stamp_old_soldered", &STAMP_OLD_SOLDERED, |usual| {
        &usual.stamp_old_soldered
    });
    let touchstone = rule("touchstone", &TOUCHSTONE, |usual| &usual.touchstone);
    let xrf = rule("xrf", &XRF, |usual| &usual.xrf);
    let fire_assay = rule("fire_assay", &FIRE_ASSAY, |usual| &usual.fire_assay);
    let declared = rule("declared", &DECLARED, |usual| &usual.declared);
    Some(BasisRules {
        stamp: stamp?,
        stamp_soldered: stamp_soldered?,
        stamp_old: stamp_old?,
        stamp_old_soldered: stamp_old_soldered?,
        touchstone: touchstone?,
        xrf: xrf?,
        fire_assay: fire_assay?,
        declared: declared?,
    })
}

/// The figure of one basis; the usual one when it is not written.
fn rule(section: &Section<'_>, usual: Option<&Rule>) -> Option<Rule> {
    let source = section.text("source");
    // Only one of the two is known in a table; the other is told as unknown.
    let key = if section.knows("u") { "u" } else { "minus" };
    if !section.has(key) {
        if usual.is_none() || source.is_some() {
            section.need(key);
        }
        return usual.cloned();
    }
    let span = section.parsed::<Fineness>(key)?.value;
    let largest = LARGEST.parse().unwrap_or(Fineness::NONE);
    if span > largest {
        section.refuse(
            key,
            &format!("Beyond {LARGEST} nothing at all is known."),
            &format!("Write at most {LARGEST}."),
        );
    } else if key == "u" && span == Fineness::NONE {
        section.refuse(
            key,
            "Nothing is known so exactly.",
            "Write a standard uncertainty above none, as in 0.5 ppt.",
        );
    }
    Some(Rule {
        span,
        source: source.map_or_else(|| OWN.to_owned(), |source| source.value.to_owned()),
    })
}

impl Section<'_> {
    /// Whether this table has such a key at all.
    fn knows(&self, key: &str) -> bool {
        self.known_keys().any(|known| known == key)
    }
}
