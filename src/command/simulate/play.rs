//! Playing a pretend balance: carrying out what a script or the person says, at its time.
//!
//! Promises: everything that is done is told, with the moment; a signal ends it in order, the link
//! taken away. Leaves to others: what a line means (`script`), and how a balance behaves (`port`).

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use serde_json::{Value, json};
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::mpsc;
use tokio::time::{Instant, sleep_until};

use super::Simulate;
use super::script::{Deed, Line, Script, typed};
use crate::command::output::Output;
use crate::mass::{Division, Mass};
use crate::port::{Nature, Pace, Pretend, Writer};
use crate::settings::BalanceFile;
use crate::trouble::Trouble;

/// A turn of a script takes at least so long, so that one without any time in it does not spin.
const SHORTEST_TURN: Duration = Duration::from_millis(100);
/// Typed lines that may wait.
const WAITING: usize = 64;

/// A pretend balance being played.
pub(super) struct Play<'a> {
    balance: Pretend,
    output: &'a Output,
    division: Division,
    pace: Pace,
    link: Option<String>,
    on_pan: Mass,
    garbled: Arc<AtomicBool>,
    /// What comes to its end by itself, and when.
    endings: Vec<(Instant, Ending)>,
    began: Instant,
    signals: [Signal; 3],
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ending {
    Plug,
    Talk,
    Clear,
}

/// What was waited for.
enum Next {
    Due,
    Typed(String),
    /// A signal, or no more lines.
    Stop,
}

/// What was typed, as it comes; a reader that ended is a closed channel.
type Typed = mpsc::Receiver<String>;

impl<'a> Play<'a> {
    /// Plugs the balance in and says where.
    pub(super) fn begin(
        asked: &Simulate,
        file: &BalanceFile,
        mut write: Writer,
        nature: Nature,
        output: &'a Output,
    ) -> Result<Self, Trouble> {
        // First, so that from here on a signal finds somebody who takes the link away.
        let kinds = [
            SignalKind::interrupt(),
            SignalKind::terminate(),
            SignalKind::hangup(),
        ];
        let [first, second, third] = kinds.map(signal);
        let signals = first.and_then(|first| Ok([first, second?, third?]));
        let signals = signals.map_err(|error| {
            Trouble::new(
                "cannot-start",
                format!("The pretend balance cannot start: {error}."),
                "Nothing real is touched.",
                "Try again.",
            )
        })?;
        // One that must be asked says nothing before.
        let pace = file.ask.as_ref().map_or_else(
            || Pace::LinesPerSecond(asked.rate),
            |ask| Pace::WhenAsked(ask.send.clone()),
        );
        let garbled = Arc::new(AtomicBool::new(false));
        let garbling = Arc::clone(&garbled);
        let balance = Pretend::start_writing(
            asked.link.clone(),
            nature,
            Box::new(move |showing| {
                let line = write(showing);
                if garbling.load(Ordering::Relaxed) {
                    line.into_iter().map(as_if_at_another_speed).collect()
                } else {
                    line
                }
            }),
            pace.clone(),
            file.speed,
        )?;
        if asked.wired {
            balance.set_wired(Some(file.framing))?;
        }
        let play = Self {
            balance,
            output,
            division: nature.division,
            pace,
            link: asked.link.as_ref().map(|link| link.display().to_string()),
            on_pan: Mass::ZERO,
            garbled,
            endings: Vec::new(),
            began: Instant::now(),
            signals,
        };
        let port = play.port()?;
        if output.is_json() {
            play.event(
                "plugged",
                &json!({
                    "port": port,
                    "link": play.link,
                    "layout": asked.layout,
                    "speed": file.speed,
                    "framing": file.framing.to_string(),
                    "division": nature.division.to_string(),
                }),
            );
        } else {
            output.line(&format!(
                "A pretend balance speaks \"{}\" at {port}. Nothing real is weighed.",
                asked.layout
            ));
            if let Some(link) = &play.link {
                output.line(&format!("Its name that stays is {link}."));
            }
            output.line(&format!(
                "Set for {} {}; a pseudo-terminal passes its lines on at any speed.",
                file.speed, file.framing
            ));
            if let Pace::WhenAsked(words) = &play.pace {
                let words = words.escape_ascii();
                output.line(&format!(
                    "It must be asked: it sends when it hears {words}."
                ));
            }
            if asked.script.is_none() {
                output.line("Type what happens to it, as in put 12.46 g; end ends it.");
            }
        }
        Ok(play)
    }

    /// Plays a script, then goes on as it is until it is told to stop.
    pub(super) async fn follow(&mut self, script: &Script) -> Result<(), Trouble> {
        let mut turn = 0;
        while script.turns.is_none_or(|turns| turn < turns) {
            turn += 1;
            let begin = Instant::now();
            let mut done = begin;
            for line in &script.lines {
                let due = line.at.map_or(done, |at| begin + at);
                if !self.is_due(due).await? || line.deed == Deed::End {
                    return Ok(());
                }
                done = done.max(due + self.carry_out(line)?);
            }
            let least = begin + SHORTEST_TURN;
            if !self.is_due(done.max(least)).await? {
                return Ok(());
            }
        }
        self.told(
            "script done",
            "The script is done; the balance goes on as it is.",
        );
        while !matches!(self.next(None, None).await?, Next::Stop) {}
        Ok(())
    }

    /// Does what is typed until there is no more of it.
    pub(super) async fn obey(&mut self) -> Result<(), Trouble> {
        let (tell, mut lines) = mpsc::channel(WAITING);
        // Nothing can end a thread that waits for the keyboard; it goes with the program.
        std::thread::spawn(move || {
            for line in std::io::stdin().lines() {
                let Ok(line) = line else { return };
                if tell.blocking_send(line).is_err() {
                    return;
                }
            }
        });
        loop {
            match self.next(None, Some(&mut lines)).await? {
                Next::Typed(text) => match typed(&text) {
                    Ok(None) => {}
                    Ok(Some(line)) if line.deed == Deed::End => return Ok(()),
                    Ok(Some(line)) => drop(self.carry_out(&line)?),
                    Err(trouble) if self.output.is_json() => self.event(
                        "refused",
                        &json!({
                            "code": trouble.code,
                            "happened": trouble.happened,
                            "mend": trouble.mend,
                        }),
                    ),
                    Err(trouble) => {
                        self.output
                            .line(&format!("{} {}", trouble.happened, trouble.mend));
                    }
                },
                Next::Due => {}
                Next::Stop => return Ok(()),
            }
        }
    }

    /// Unplugs it for good.
    pub(super) fn end(self) {
        self.told("ended", "The pretend balance is put away.");
    }

    /// Whether the moment came before a signal did.
    async fn is_due(&mut self, due: Instant) -> Result<bool, Trouble> {
        loop {
            match self.next(Some(due), None).await? {
                Next::Due if Instant::now() >= due => return Ok(true),
                Next::Stop => return Ok(false),
                _ => {}
            }
        }
    }

    /// Waits for the next thing, and ends what comes to its end meanwhile.
    async fn next(
        &mut self,
        due: Option<Instant>,
        lines: Option<&mut Typed>,
    ) -> Result<Next, Trouble> {
        let ending = self.endings.iter().map(|(at, _)| *at).min();
        let first = [due, ending].into_iter().flatten().min();
        let line = async {
            match lines {
                Some(lines) => lines.recv().await,
                None => std::future::pending().await,
            }
        };
        let moment = async {
            match first {
                Some(at) => sleep_until(at).await,
                None => std::future::pending().await,
            }
        };
        let [one, two, three] = &mut self.signals;
        let next = tokio::select! {
            _ = one.recv() => Next::Stop,
            _ = two.recv() => Next::Stop,
            _ = three.recv() => Next::Stop,
            () = moment => Next::Due,
            line = line => line.map_or(Next::Stop, Next::Typed),
        };
        if matches!(next, Next::Due) {
            self.end_what_is_due()?;
        }
        Ok(next)
    }

    fn end_what_is_due(&mut self) -> Result<(), Trouble> {
        let now = Instant::now();
        let due: Vec<Ending> = self
            .endings
            .extract_if(.., |(at, _)| *at <= now)
            .map(|(_, it)| it)
            .collect();
        for ending in due {
            match ending {
                Ending::Plug => self.plug()?,
                Ending::Talk => {
                    self.balance.set_pace(self.pace.clone())?;
                    self.told("talking", "It talks again.");
                }
                Ending::Clear => {
                    self.garbled.store(false, Ordering::Relaxed);
                    self.told("clear", "It speaks at its own speed again.");
                }
            }
        }
        Ok(())
    }

    /// Does one thing; gives how long it lasts.
    fn carry_out(&mut self, line: &Line) -> Result<Duration, Trouble> {
        let mut lasts = Duration::ZERO;
        match &line.deed {
            Deed::Put(mass) => self.load(self.on_pan + *mass)?,
            Deed::Take(mass) => self.load((self.on_pan - *mass).or_zero())?,
            Deed::Empty => self.load(Mass::ZERO)?,
            Deed::Trickle(mass, over) => {
                self.on_pan = self.on_pan + *mass;
                self.balance.trickle(self.on_pan, *over)?;
                lasts = *over;
            }
            Deed::Unit(unit) => self.balance.press_unit(*unit)?,
            Deed::Tare => self.balance.press_tare()?,
            Deed::Noise(bound) => self.balance.set_noise(*bound)?,
            Deed::Drift(by, over) => self.balance.set_drift(*by, *over)?,
            Deed::Unplug(time) => {
                self.balance.unplug()?;
                lasts = self.until(Ending::Plug, *time);
            }
            Deed::Silent(time) => {
                self.balance.set_pace(Pace::Silent)?;
                lasts = self.until(Ending::Talk, *time);
            }
            Deed::Talk => {
                self.until(Ending::Talk, None);
                self.balance.set_pace(self.pace.clone())?;
            }
            Deed::Garble(time) => {
                self.garbled.store(true, Ordering::Relaxed);
                lasts = self.until(Ending::Clear, Some(*time));
            }
            Deed::Say(bytes) => self.balance.say(bytes.clone())?,
            Deed::Wait(time) => lasts = *time,
            // Plugging in is told of after the deed itself; the end is the caller's.
            Deed::Plug | Deed::End => {}
        }
        let pan = self.division.show(self.on_pan).to_string();
        if self.output.is_json() {
            self.event("did", &json!({ "line": line.text, "pan": pan }));
        } else {
            self.output.line(&format!(
                "{}  {} ({pan} on the pan)",
                self.clock(),
                line.text
            ));
        }
        if line.deed == Deed::Plug {
            self.until(Ending::Plug, None);
            self.plug()?;
        }
        Ok(lasts)
    }

    fn load(&mut self, load: Mass) -> Result<(), Trouble> {
        self.on_pan = load;
        self.balance.place(load)
    }

    /// Lets something end after a time, or by hand; what was to end it before is forgotten.
    fn until(&mut self, ending: Ending, time: Option<Duration>) -> Duration {
        self.endings.retain(|(_, other)| *other != ending);
        if let Some(time) = time {
            self.endings.push((Instant::now() + time, ending));
        }
        time.unwrap_or_default()
    }

    fn plug(&mut self) -> Result<(), Trouble> {
        self.balance.plug()?;
        let port = self.port()?;
        if self.output.is_json() {
            self.event("plugged", &json!({ "port": port, "link": self.link }));
        } else {
            self.output
                .line(&format!("{}  It is plugged in, at {port}.", self.clock()));
        }
        Ok(())
    }

    fn port(&self) -> Result<String, Trouble> {
        let port = self.balance.port()?;
        Ok(port
            .map(|port| port.display().to_string())
            .unwrap_or_default())
    }

    fn told(&self, event: &str, text: &str) {
        if self.output.is_json() {
            self.event(event, &json!({}));
        } else {
            self.output.line(&format!("{}  {text}", self.clock()));
        }
    }

    fn event(&self, event: &str, more: &Value) {
        let mut line = json!({ "at_ms": self.millis(), "event": event });
        if let (Some(line), Some(more)) = (line.as_object_mut(), more.as_object()) {
            line.extend(more.clone());
        }
        self.output.json_line(&line.to_string());
    }

    fn millis(&self) -> u64 {
        u64::try_from(self.began.elapsed().as_millis()).unwrap_or(u64::MAX)
    }

    fn clock(&self) -> String {
        let tenths = self.millis() / 100;
        format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
    }
}

/// A byte as a port makes of it that listens at twice the speed: the first half of it, each bit
/// taken for two.
fn as_if_at_another_speed(byte: u8) -> u8 {
    (0..4).fold(0, |all, bit| {
        let both = if byte >> bit & 1 == 1 { 0b11 } else { 0 };
        all | both << (2 * bit)
    })
}
