//! Other programs to check against, run by Python in an environment that is made here and kept
//! under target/. Fails, and says why, where it cannot be made; nothing is skipped.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing, missing_docs)]

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use serde_json::Value;

/// Runs a command, at most so long, and gives back what it said.
fn run(command: &mut Command, limit: Duration, said: &Path) -> Result<String, String> {
    let out = File::create(said).unwrap();
    let shown = format!("{command:?}");
    let mut child = command
        .stdin(Stdio::null())
        .stderr(out.try_clone().unwrap())
        .stdout(out)
        .spawn()
        .map_err(|why| format!("{shown} does not start: {why}"))?;
    let end = Instant::now() + limit;
    let ended = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status.success();
        }
        if Instant::now() > end {
            child.kill().unwrap();
            child.wait().unwrap();
            return Err(format!("{shown} took longer than {limit:?}"));
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    let text = fs::read_to_string(said).unwrap();
    if ended {
        Ok(text)
    } else {
        Err(format!("{shown} failed:\n{text}"))
    }
}

/// The lock on the environment, so that test programs run at once do not make it twice.
fn alone(path: &Path) -> Result<File, String> {
    let lock = File::create(path).map_err(|why| format!("{}: {why}", path.display()))?;
    let end = Instant::now() + Duration::from_mins(8);
    while lock.try_lock().is_err() {
        if Instant::now() > end {
            return Err(format!("{} is held by another run", path.display()));
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    Ok(lock)
}

/// Python with what the checks need, made once and kept under target/.
pub fn python() -> PathBuf {
    static MADE: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    let made = MADE.get_or_init(|| {
        let tmp = Path::new(env!("CARGO_TARGET_TMPDIR"));
        let _one_at_a_time = alone(&tmp.join("python-checks.lock"))?;
        let folder = tmp.join("python-checks");
        let needs = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/python/requirements.txt");
        let python = folder.join("bin/python");
        let stamp = folder.join("requirements.txt");
        let wanted = fs::read_to_string(&needs).unwrap();
        if fs::read_to_string(&stamp).is_ok_and(|had| had == wanted) && python.exists() {
            return Ok(python);
        }
        let said = tmp.join("python-checks.txt");
        run(
            Command::new("python3")
                .args(["-m", "venv", "--clear"])
                .arg(&folder),
            Duration::from_mins(2),
            &said,
        )
        .map_err(|why| {
            format!("Python cannot make an environment (install python3-venv): {why}")
        })?;
        run(
            Command::new(&python)
                .args([
                    "-m",
                    "pip",
                    "install",
                    "--quiet",
                    "--only-binary",
                    ":all:",
                    "-r",
                ])
                .arg(&needs),
            Duration::from_mins(5),
            &said,
        )
        .map_err(|why| {
            format!("pip cannot install what requirements.txt names (is there a network?): {why}")
        })?;
        fs::write(&stamp, wanted).unwrap();
        Ok(python)
    });
    match made {
        Ok(python) => python.clone(),
        Err(why) => panic!("the checks against other programs cannot run: {why}"),
    }
}

/// Hands the cases to a script of tests/python, which fails if one differs.
pub fn check(script: &str, cases: &[Value]) -> String {
    let python = python();
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let file = folder.join(format!("{script}.json"));
    fs::write(&file, serde_json::to_string(cases).unwrap()).unwrap();
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/python")
        .join(script);
    let said = folder.join(format!("{script}.txt"));
    let text = run(
        Command::new(python).arg(path).arg(file),
        Duration::from_mins(3),
        &said,
    )
    .unwrap_or_else(|why| panic!("{why}"));
    println!("{script}: {text}");
    text
}

/// The number that a script prints after a word, so that a check of nothing fails.
pub fn count(text: &str, word: &str) -> u32 {
    let found = text
        .lines()
        .find_map(|line| line.strip_prefix(word)?.trim().parse().ok());
    found.unwrap_or_else(|| panic!("the script does not say {word}: {text}"))
}
