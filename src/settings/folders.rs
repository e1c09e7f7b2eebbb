//! Where things lie: the settings, the balance files, the shelf, the book, the socket.
//!
//! Promises: the environment is read in one place; every folder is either known or a trouble that
//! says what to do. Leaves to others: making the folders, and reading what is in them.

use std::path::{Path, PathBuf};

use crate::trouble::Trouble;

/// The part of the environment that decides where things lie.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Environment {
    /// `HOME`.
    pub home: Option<PathBuf>,
    /// `XDG_CONFIG_HOME`.
    pub config_home: Option<PathBuf>,
    /// `XDG_DATA_HOME`.
    pub data_home: Option<PathBuf>,
    /// `XDG_STATE_HOME`.
    pub state_home: Option<PathBuf>,
    /// `XDG_RUNTIME_DIR`.
    pub runtime_dir: Option<PathBuf>,
    /// The folder that the system makes for a user who is logged in, whether or not it is there.
    pub run_user: PathBuf,
}

impl Environment {
    /// The environment of this process.
    pub fn of_this_process() -> Self {
        let variable = |name: &str| std::env::var_os(name).map(PathBuf::from);
        Self {
            home: variable("HOME"),
            config_home: variable("XDG_CONFIG_HOME"),
            data_home: variable("XDG_DATA_HOME"),
            state_home: variable("XDG_STATE_HOME"),
            runtime_dir: variable("XDG_RUNTIME_DIR"),
            run_user: PathBuf::from(format!("/run/user/{}", rustix::process::geteuid().as_raw())),
        }
    }
}

/// Where things lie.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Folders {
    /// The settings file.
    pub settings: PathBuf,
    /// The folder of the person's own balance files.
    pub balances: PathBuf,
    /// The file of the shop's metals.
    pub shelf: PathBuf,
    /// The folder of job files.
    pub book: PathBuf,
    /// The folder of what the service keeps for itself from one start to the next: the page's token.
    pub state: PathBuf,
    /// The folder of the socket; gone after the session.
    pub runtime: PathBuf,
}

impl Folders {
    /// The folders of the user, after the XDG base directory specification: a variable that is
    /// empty or no whole path counts as not set.
    pub fn of_user(environment: &Environment) -> Result<Self, Trouble> {
        let mut folders = Self::without_runtime(environment)?;
        let runtime = whole(environment.runtime_dir.as_ref())
            .or_else(|| {
                environment
                    .run_user
                    .is_dir()
                    .then(|| environment.run_user.clone())
            })
            .ok_or_else(|| {
                unknown(
                    format!(
                        "XDG_RUNTIME_DIR names no folder, and {} is not there.",
                        environment.run_user.display()
                    ),
                    "Run it in a login session of your own (not after su or sudo), set XDG_RUNTIME_DIR, or give a folder with --home DIR.",
                )
            })?;
        folders.runtime = runtime.join("panbell");
        Ok(folders)
    }

    /// The same for commands that talk to no service, and need no session of one's own.
    pub fn without_runtime(environment: &Environment) -> Result<Self, Trouble> {
        let home = || whole(environment.home.as_ref());
        let base = |set: Option<&PathBuf>, variable: &str, below: &str| {
            whole(set)
                .or_else(|| home().map(|home| home.join(below)))
                .ok_or_else(|| {
                    unknown(
                        format!("Neither {variable} nor HOME names a folder."),
                        "Set HOME to your home folder, or give a folder with --home DIR.",
                    )
                })
        };
        let config = base(
            environment.config_home.as_ref(),
            "XDG_CONFIG_HOME",
            ".config",
        )?
        .join("panbell");
        let data = base(
            environment.data_home.as_ref(),
            "XDG_DATA_HOME",
            ".local/share",
        )?
        .join("panbell");
        let state = base(
            environment.state_home.as_ref(),
            "XDG_STATE_HOME",
            ".local/state",
        )?
        .join("panbell");
        Ok(Self {
            settings: config.join("panbell.toml"),
            balances: config.join("balances"),
            shelf: config.join("shelf.toml"),
            book: data.join("book"),
            state,
            runtime: PathBuf::new(),
        })
    }

    /// Everything under one folder.
    pub fn under(home: &Path) -> Self {
        Self {
            settings: home.join("panbell.toml"),
            balances: home.join("balances"),
            shelf: home.join("shelf.toml"),
            book: home.join("book"),
            state: home.join("state"),
            runtime: home.join("run"),
        }
    }

    /// The socket that the service listens on.
    pub fn socket(&self) -> PathBuf {
        self.runtime.join("panbell.sock")
    }
}

fn whole(path: Option<&PathBuf>) -> Option<PathBuf> {
    path.filter(|path| path.is_absolute()).cloned()
}

fn unknown(happened: String, mend: &str) -> Trouble {
    Trouble::new(
        "folder-unknown",
        happened,
        "It is not known where the settings, the book and the socket lie, so nothing is weighed.",
        mend,
    )
}
