//! Where a learned balance file is saved.
//!
//! Promises: nothing is written over without `--force`; a file is whole or not there; a name can be
//! used in the settings as it is. Leaves to others: what stands in it.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use crate::command::Common;
use crate::trouble::Trouble;

/// The longest name of a balance file.
const LONGEST: usize = 32;

/// The file that a name stands for; refused before anything is captured if it cannot be written.
pub(super) fn place(name: &str, common: &Common, force: bool) -> Result<PathBuf, Trouble> {
    let fits = name.len() <= LONGEST
        && name.starts_with(|c: char| c.is_ascii_alphanumeric())
        && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
    if !fits {
        return Err(Trouble::new(
            "learn-name",
            format!("\"{name}\" is no name for a balance file."),
            "Nothing was captured and nothing was saved.",
            "Use letters from A to Z, digits and -, at most 32 of them, and begin with a letter or digit.",
        ));
    }
    let path = common
        .reading_folders()?
        .balances
        .join(format!("{name}.toml"));
    if !force && path.symlink_metadata().is_ok() {
        return Err(taken(&path));
    }
    Ok(path)
}

/// Saves it.
pub(super) fn write(path: &Path, text: &str, force: bool) -> Result<(), Trouble> {
    let failed = |error: io::Error| {
        Trouble::new(
            "learn-save",
            format!("{} could not be written: {error}.", path.display()),
            "What was learned is not saved; what was there before is as it was.",
            "See that the folder can be written to, and save again.",
        )
    };
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder).map_err(failed)?;
    let fresh = folder.join(format!(".learn-{}.new", std::process::id()));
    let written = File::create(&fresh).and_then(|mut file| {
        file.write_all(text.as_bytes())
            .and_then(|()| file.sync_all())
    });
    let placed = written.and_then(|()| {
        if force {
            fs::rename(&fresh, path)
        } else {
            // A link, unlike a rename, is refused where something stands.
            fs::hard_link(&fresh, path)
        }
    });
    // After a rename it is gone already.
    drop(fs::remove_file(&fresh));
    placed.map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists => taken(path),
        _ => failed(error),
    })
}

/// Keeps captured bytes in a new file.
pub(super) fn keep(path: &Path, bytes: &[u8]) -> Result<(), Trouble> {
    let file = File::options().write(true).create_new(true).open(path);
    file.and_then(|mut file| file.write_all(bytes))
        .map_err(|error| {
            Trouble::new(
                "learn-keep",
                format!(
                    "The captured bytes could not be kept in {}: {error}.",
                    path.display()
                ),
                "Nothing was learned and nothing was saved.",
                "Name a new file in a folder that can be written to.",
            )
        })
}

fn taken(path: &Path) -> Trouble {
    Trouble::new(
        "learn-taken",
        format!("There is already a balance file {}.", path.display()),
        "Nothing was saved; the file is as it was.",
        "Choose another name, or write over it with --force.",
    )
}
