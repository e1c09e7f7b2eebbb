//! The steps at the pan: what is asked of the person, and their answers.
//!
//! Promises: instructions are plain and one at a time; the balance is listened to meanwhile; an
//! input that ends is an answer, never a wait. Leaves to others: what is heard.

use std::io::BufRead as _;
use std::time::Duration;

use tokio::sync::mpsc::{Receiver, channel};
use tokio::time::Instant;

use super::ear::Ear;
use crate::balance::learn::{Phase, Told, learn, listen};
use crate::command::output::Output;
use crate::mass::Indication;
use crate::trouble::{Trouble, harmless_lines};

/// How long a rest is listened to.
const REST: Duration = Duration::from_secs(2);
/// How long it is waited for the first line of a rest, as from a print key.
const FIRST_LINE: Duration = Duration::from_mins(1);
/// The longest that a person is waited for.
const PATIENCE: Duration = Duration::from_mins(10);

/// The person at the bench.
pub(super) struct Hands<'a> {
    output: &'a Output,
    answers: Option<Receiver<String>>,
}

impl<'a> Hands<'a> {
    /// With a person at the keyboard, or without.
    pub(super) fn new(output: &'a Output, person: bool) -> Self {
        let answers = person.then(|| {
            let (send, receive) = channel(8);
            // Reading a keyboard cannot be given up, so it has a thread that ends with the program.
            std::thread::spawn(move || {
                for line in std::io::stdin().lock().lines() {
                    let Ok(line) = line else { return };
                    if send.blocking_send(line).is_err() {
                        return;
                    }
                }
            });
            receive
        });
        Self { output, answers }
    }

    pub(super) fn has_person(&self) -> bool {
        self.answers.is_some()
    }

    /// Says something to people; JSON has no room for it.
    pub(super) fn say(&self, text: &str) {
        if !self.output.is_json() {
            self.output.line(text);
        } else if self.has_person() {
            eprintln!("{}", harmless_lines(text));
        }
    }

    /// Whether something may be sent.
    pub(super) async fn may_send(&mut self, what: &str) -> Result<bool, Trouble> {
        self.say(&format!(
            "May {what} be sent to the balance, to ask for a line? Type yes or no, and Enter."
        ));
        let answer = self.answer(None).await?;
        Ok(matches!(
            answer.trim().to_ascii_lowercase().as_str(),
            "y" | "yes"
        ))
    }

    /// Leads through the weighing.
    pub(super) async fn weigh(&mut self, ear: &mut Ear, told: &mut Told) -> Result<(), Trouble> {
        if told.weight.is_none() {
            self.say("Which check weight will be put on? Type its mass as in 20 g, and Enter; only Enter for none.");
            let answer = self.answer(Some(ear)).await?;
            if !answer.trim().is_empty() {
                told.weight = Some(answer.parse::<Indication>()?.mass());
            }
        }
        let weight = told.weight.map_or("something heavy".to_owned(), |mass| {
            format!("the check weight of {} g", mass.grams().normalize())
        });
        let steps = [
            (
                "Empty the pan, wait until it rests, and press Enter.".to_owned(),
                Phase::Empty,
            ),
            (
                format!("Put {weight} on, wait until it rests, and press Enter."),
                Phase::Loaded,
            ),
            (
                "Lift it, wait until the pan rests, and press Enter.".to_owned(),
                Phase::Lifted,
            ),
        ];
        for (text, phase) in steps {
            self.step(ear, &text, phase).await?;
        }
        // Most balances tremble about zero, and then a minus was heard already.
        let knows_minus = learn(ear.capture(), told).is_ok_and(|learnt| learnt.knows_sign());
        if !knows_minus {
            let text = format!(
                "It is not proven yet how the balance writes a minus. Put {weight} on again, press the balance's own tare or zero key so that it shows zero, lift the weight, wait until the pan rests, and press Enter. If it has no such key, only press Enter."
            );
            self.step(ear, &text, Phase::Below).await?;
        }
        Ok(())
    }

    /// One step at the pan.
    async fn step(&mut self, ear: &mut Ear, text: &str, phase: Phase) -> Result<(), Trouble> {
        ear.phase(Phase::Between);
        self.say(text);
        self.answer(Some(ear)).await?;
        ear.phase(phase);
        let had = ear.heard().len();
        ear.until(Instant::now() + REST, |_| false).await?;
        if ear.heard().len() == had {
            self.say("Nothing came: press the balance's print key.");
        }
        let more = |heard: &[u8]| listen(heard.get(had..).unwrap_or_default()).lines >= 1;
        ear.until(Instant::now() + FIRST_LINE, more).await
    }

    /// The next answer, while the balance is listened to.
    async fn answer(&mut self, mut ear: Option<&mut Ear>) -> Result<String, Trouble> {
        let Some(answers) = &mut self.answers else {
            return Ok(String::new());
        };
        let end = Instant::now() + PATIENCE;
        while Instant::now() < end {
            let answer = match &mut ear {
                None => tokio::time::timeout_at(end, answers.recv()).await.ok(),
                Some(ear) => tokio::select! {
                    answer = answers.recv() => Some(answer),
                    heard = ear.step(end) => {
                        heard?;
                        None
                    }
                },
            };
            match answer {
                Some(Some(answer)) => return Ok(answer),
                Some(None) => return Err(nobody("the keyboard's input ended")),
                None => {}
            }
        }
        Err(nobody("nobody answered for ten minutes"))
    }
}

fn nobody(why: &str) -> Trouble {
    Trouble::new(
        "learn-nobody",
        format!("The steps at the pan need a person, and {why}."),
        "How the balance speaks was not learned, and nothing was saved.",
        "Run it at a keyboard; or put the weight on and lift it while it listens, with --seconds 30.",
    )
}
