//! The stage of a rehearsal: the folder, the real service, the pretend balance, and the watching.

use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::{Duration, Instant};

use serde_json::Value;
use tokio::sync::mpsc;

use super::paced;
use crate::command::client::Client;
use crate::command::follow::Screen;
use crate::command::output::Output;
use crate::mass::{Division, Mass};
use crate::port::{Nature, Pace, Pretend, PretendSettings, shape};
use crate::serve::{BellView, BenchView, OnBody, OrderBody, OrderRequest, ReplyBody};
use crate::trouble::Trouble;

/// The shape that the pretend balance speaks, and its settings.
const SHAPE: &str = "status-first";
const SPEED: u32 = 9600;
const LINES_A_SECOND: u32 = 10;
/// Nothing on the stage may take longer than this at a person's pace.
const LIMIT: Duration = Duration::from_secs(30);

/// Everything that a rehearsal needs.
pub(super) struct Stage<'a> {
    pub(super) balance: Pretend,
    pub(super) pace: f64,
    output: &'a Output,
    client: Client,
    service: std::process::Child,
    folder: PathBuf,
    began: Instant,
    events: mpsc::Receiver<(String, String)>,
    view: Option<BenchView>,
    bells: Vec<String>,
    calm: Screen,
}

impl<'a> Stage<'a> {
    /// Sets the stage.
    pub(super) async fn set(folder: &Path, pace: f64, output: &'a Output) -> Result<Self, Trouble> {
        let failed = |what: &str, error: &dyn std::fmt::Display| {
            Trouble::new(
                "rehearsal-failed",
                format!(
                    "The rehearsal cannot be set up: {what} {}: {error}.",
                    folder.display()
                ),
                "Nothing real is touched.",
                "Give another folder with --keep.",
            )
        };
        std::fs::create_dir_all(folder).map_err(|error| failed("making", &error))?;
        let port = folder.join("balance");
        let settings = settings(&port, pace);
        let file = folder.join("panbell.toml");
        if file.exists() {
            return Err(failed("using", &"it holds settings already"));
        }
        std::fs::write(&file, settings).map_err(|error| failed("writing settings into", &error))?;
        let shelf = include_str!("shelf.toml");
        std::fs::write(folder.join("shelf.toml"), shelf)
            .map_err(|error| failed("writing a shelf into", &error))?;
        let balance = Pretend::start(pretend(port)?)?;

        let log = std::fs::File::create(folder.join("service.log"))
            .map_err(|error| failed("writing a log into", &error))?;
        let binary =
            std::env::current_exe().map_err(|error| failed("finding this program for", &error))?;
        let service = std::process::Command::new(binary)
            .arg("--home")
            .arg(folder)
            .arg("run")
            .env_remove("JOURNAL_STREAM")
            .env_remove("NOTIFY_SOCKET")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .map_err(|error| failed("starting the service in", &error))?;
        let (tell, events) = mpsc::channel(64);
        let mut stage = Self {
            balance,
            pace,
            output,
            client: Client::at(&folder.join("run")),
            service,
            folder: folder.to_owned(),
            began: Instant::now(),
            events,
            view: None,
            bells: Vec::new(),
            calm: Screen::one_line(),
        };
        let mut stream = stage.when_running().await?;
        tokio::spawn(async move {
            while let Some(event) = stream.next().await {
                if tell.send(event).await.is_err() {
                    return;
                }
            }
        });
        stage
            .until("the balance is heard", |view| view.link == "talking")
            .await?;
        Ok(stage)
    }

    async fn when_running(&mut self) -> Result<crate::command::client::Events, Trouble> {
        let deadline = Instant::now() + Duration::from_secs(10);
        loop {
            match self.client.follow(None).await {
                Ok(events) => return Ok(events),
                Err(trouble) if Instant::now() > deadline => {
                    return Err(self.broke(&trouble.happened));
                }
                Err(_) => tokio::time::sleep(Duration::from_millis(20)).await,
            }
            if let Ok(Some(status)) = self.service.try_wait() {
                return Err(self.broke(&format!("the service ended with {status}")));
            }
        }
    }

    /// Stops the service as systemd would, and waits for it.
    pub(super) async fn clear(mut self) {
        let id = i32::try_from(self.service.id())
            .ok()
            .and_then(rustix::process::Pid::from_raw);
        if let Some(id) = id {
            let _gone = rustix::process::kill_process(id, rustix::process::Signal::TERM);
        }
        let deadline = Instant::now() + Duration::from_secs(10);
        while let Ok(None) = self.service.try_wait() {
            if Instant::now() > deadline {
                let _gone = self.service.kill();
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    /// What the person does or sees, as one line.
    pub(super) fn tell(&self, who: &str, text: &str) {
        let seconds = self.began.elapsed().as_secs();
        if self.output.is_json() {
            let line = serde_json::json!({"at": format!("{}:{:02}", seconds / 60, seconds % 60), "who": who, "text": text});
            return self.output.json_line(&line.to_string());
        }
        let minutes = seconds / 60;
        self.output.fresh_line(
            &format!("{minutes}:{:02}  {who:<6} {text}", seconds % 60),
            13,
        );
    }

    /// Gives an order as its command would.
    pub(super) async fn order(
        &mut self,
        typed: &str,
        order: OrderBody,
    ) -> Result<ReplyBody, Trouble> {
        self.tell("order", &format!("panbell {typed}"));
        // What was seen before the order says nothing of what comes after it.
        self.view = None;
        let on = OnBody::default();
        self.client.order(None, &OrderRequest { order, on }).await
    }

    /// Lets the hands rest for so long at a person's pace, watching.
    pub(super) async fn pause(&mut self, time: Duration) {
        let until = tokio::time::Instant::now() + paced(time, self.pace);
        while let Ok(Some(event)) = tokio::time::timeout_at(until, self.events.recv()).await {
            self.see(event);
        }
    }

    /// Watches until the bench is as wanted.
    pub(super) async fn until(
        &mut self,
        what: &str,
        wanted: impl Fn(&BenchView) -> bool,
    ) -> Result<BenchView, Trouble> {
        self.watch(what, |stage| {
            stage.view.as_ref().filter(|view| wanted(view)).cloned()
        })
        .await
    }

    /// How many bells have rung.
    pub(super) fn bells(&self) -> usize {
        self.bells.len()
    }

    /// Whether this bell has rung after so many.
    pub(super) fn rung_since(&self, bell: &str, heard: usize) -> bool {
        self.bells.iter().skip(heard).any(|rung| rung == bell)
    }

    /// Watches until this bell has rung after so many.
    pub(super) async fn until_bell_since(
        &mut self,
        bell: &str,
        heard: usize,
    ) -> Result<(), Trouble> {
        self.watch(&format!("the bell {bell}"), |stage| {
            stage.rung_since(bell, heard).then_some(())
        })
        .await
    }

    async fn watch<T>(
        &mut self,
        what: &str,
        mut found: impl FnMut(&Self) -> Option<T>,
    ) -> Result<T, Trouble> {
        let deadline = tokio::time::Instant::now() + paced(LIMIT, self.pace.min(1.0));
        loop {
            if let Some(found) = found(self) {
                return Ok(found);
            }
            match tokio::time::timeout_at(deadline, self.events.recv()).await {
                Ok(Some(event)) => self.see(event),
                Ok(None) => return Err(self.broke("the service stopped")),
                Err(_) => return Err(self.broke(&format!("waited in vain until {what}"))),
            }
        }
    }

    fn see(&mut self, (event, data): (String, String)) {
        match event.as_str() {
            "state" => self.view = serde_json::from_str(&data).ok().or(self.view.take()),
            "reading" => self.merge(&data),
            "bell" => {
                if let Ok(bell) = serde_json::from_str::<BellView>(&data) {
                    self.tell("bell", &format!("{}: {}", bell.title, bell.text));
                    self.bells.push(bell.bell);
                }
                return;
            }
            _ => {}
        }
        if !self.output.is_json() && self.output.is_terminal() {
            self.calm.take(&event, &data, self.output);
        }
    }

    /// A reading is the part of the state that it changes.
    fn merge(&mut self, data: &str) {
        let (Some(view), Ok(reading)) = (&mut self.view, serde_json::from_str::<Value>(data))
        else {
            return;
        };
        if let Ok(pan) = serde_json::from_value(reading.clone()) {
            view.pan = pan;
        }
        if let Some(weighing) = reading.get("weighing") {
            view.weighing = serde_json::from_value(weighing.clone()).unwrap_or_default();
        }
    }

    fn broke(&self, why: &str) -> Trouble {
        Trouble::new(
            "rehearsal-broke",
            format!("The rehearsal broke off: {why}."),
            "Nothing real is touched.",
            format!(
                "Its log is in {}, with --keep DIR.",
                self.folder.join("service.log").display()
            ),
        )
    }
}

fn settings(port: &Path, pace: f64) -> String {
    // The bench waits as long as it would for a person; at another pace both change together.
    // Not shorter than the settings allow (a dwell of half a second), whatever the pace.
    let scaled = |seconds: f64, least: f64| (seconds / pace).clamp(least, 60.0);
    format!(
        "[page]\nat = \"off\"\n[[bench]]\nname = \"rehearsal\"\nport = '{}'\nbalance = \"{SHAPE}\"\ndivision = \"0.01 g\"\n\
         [bench.steady]\nseconds = {:.2}\n[bench.pan]\ndwell_seconds = {:.2}\n",
        port.display(),
        scaled(1.0, 0.25),
        scaled(2.0, 0.5),
    )
}

fn pretend(link: PathBuf) -> Result<PretendSettings, Trouble> {
    let division: Division = "0.01 g".parse()?;
    Ok(PretendSettings {
        link,
        nature: Nature {
            division,
            settling: Duration::from_millis(600),
            noise: Mass::ZERO,
            seed: 7,
        },
        shape: shape(SHAPE).unwrap_or(crate::port::status_first),
        pace: Pace::LinesPerSecond(LINES_A_SECOND),
        speed: SPEED,
    })
}
