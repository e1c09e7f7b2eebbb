//! Speech: the newest sentence, spoken by the desktop's speech dispatcher where there is one.
//!
//! Promises: asking takes no time and waits for nothing; a new sentence ends the one being spoken;
//! every wait on the dispatcher has a limit. Leaves to others: what is worth saying, and the voice.
//!
//! The dispatcher listens on a unix socket and takes lines (the Speech Dispatcher manual, chapter
//! "SSIP Commands"): each is answered by lines that begin with a number, a hyphen behind it where
//! another follows; numbers from 200 to 299 are good news.

use std::io::{self, BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::asked::{Asked, Asker};
use crate::trouble::{Trouble, is_harmful};

/// How long the dispatcher may take to answer a line.
const ANSWER: Duration = Duration::from_secs(2);
/// The pause after a failure, in which sentences are let go.
const PAUSE: Duration = Duration::from_secs(5);
/// How long the dispatcher may take to start.
const START: Duration = Duration::from_secs(5);
/// The longest answer in lines, and the longest sentence in characters.
const LINES: usize = 16;
const SENTENCE: usize = 500;

/// Speaks. Cheap to clone; the thread behind it ends with the last one.
#[derive(Debug, Clone)]
pub(super) struct Speech(Asker<Next>);

#[derive(Debug, Default)]
pub(super) struct Next {
    sentence: Option<String>,
    last: String,
}

impl Speech {
    /// Starts the thread; it connects when there is something to say.
    pub(super) fn start() -> Option<Self> {
        match Asker::start("speech", |asked| run(&asked)) {
            Ok(asker) => Some(Self(asker)),
            Err(error) => {
                complain(&format!("no thread could be started ({error})"));
                None
            }
        }
    }

    /// Says this in place of whatever is being said. The same again is said once.
    pub(super) fn say(&self, sentence: &str) {
        self.0.ask(|next| {
            let is_news = !sentence.is_empty() && next.last != sentence;
            if is_news {
                sentence.clone_into(&mut next.last);
                next.sentence = Some(sentence.to_owned());
            }
            is_news
        });
    }
}

fn run(asked: &Asked<Next>) {
    let mut voice: Option<Dispatcher> = None;
    let (mut told, mut not_before) = (false, None);
    // At the end the last sentence is still said.
    while let Some(sentence) = asked.next(|next| next.sentence.take()) {
        if not_before.is_some_and(|until| Instant::now() < until) {
            continue;
        }
        let spoken = match &mut voice {
            // One that was started anew meanwhile is greeted anew.
            Some(open) => open.say(&sentence).or_else(|_| {
                let mut fresh = Dispatcher::connect()?;
                fresh.say(&sentence)?;
                *open = fresh;
                Ok(())
            }),
            None => Dispatcher::connect().and_then(|mut fresh| {
                fresh.say(&sentence)?;
                voice = Some(fresh);
                Ok(())
            }),
        };
        match spoken {
            Ok(()) => (told, not_before) = (false, None),
            Err(error) => {
                voice = None;
                not_before = Some(Instant::now() + PAUSE);
                if !std::mem::replace(&mut told, true) {
                    complain(&error.to_string());
                }
            }
        }
    }
}

/// A connection to the dispatcher.
struct Dispatcher {
    lines: BufReader<UnixStream>,
}

impl Dispatcher {
    fn connect() -> io::Result<Self> {
        let path = socket().ok_or_else(|| io::Error::other("there is no runtime folder"))?;
        let stream = match UnixStream::connect(&path) {
            Ok(stream) => stream,
            Err(_) => {
                start_it()?;
                UnixStream::connect(&path)?
            }
        };
        stream.set_read_timeout(Some(ANSWER))?;
        stream.set_write_timeout(Some(ANSWER))?;
        let mut open = Self {
            lines: BufReader::new(stream),
        };
        open.order("SET self CLIENT_NAME user:panbell:bench")?;
        // Our sentences are English, whatever the desktop speaks; without such a voice it says them
        // in its own.
        let _kept_its_own = open.order("SET self LANGUAGE en");
        Ok(open)
    }

    fn say(&mut self, sentence: &str) -> io::Result<()> {
        self.order("CANCEL self")?;
        self.order("SPEAK")?;
        let text = data(sentence);
        self.order(&text)
    }

    /// Sends a line, or the lines of a text, and waits for its answer.
    fn order(&mut self, words: &str) -> io::Result<()> {
        let stream = self.lines.get_mut();
        stream.write_all(words.as_bytes())?;
        stream.write_all(b"\r\n")?;
        let until = Instant::now() + ANSWER;
        for _ in 0..LINES {
            let mut line = String::new();
            let read = io::Read::take(&mut self.lines, 1024).read_line(&mut line)?;
            if read == 0 {
                return Err(io::Error::other("the speech dispatcher went away"));
            }
            match (line.get(..1), line.get(3..4)) {
                (Some(_), Some("-")) if Instant::now() < until => {}
                (Some("2"), Some(" ")) => return Ok(()),
                _ => {
                    let told = line.trim_end();
                    return Err(io::Error::other(format!(
                        "the speech dispatcher says {told:?}"
                    )));
                }
            }
        }
        Err(io::Error::other(
            "the speech dispatcher answers without end",
        ))
    }
}

/// A sentence as the lines of a text, with the line that ends it: a point at the beginning of a
/// line is doubled, since one alone is the end.
fn data(sentence: &str) -> String {
    let mut text = String::new();
    for line in sentence.lines() {
        if line.starts_with('.') {
            text.push('.');
        }
        let plain = line.chars().map(|c| if is_harmful(c) { ' ' } else { c });
        text.extend(plain.take(SENTENCE));
        text.push_str("\r\n");
    }
    text.push('.');
    text
}

/// Where the dispatcher listens: `SPEECHD_ADDRESS`, or its place in the runtime folder.
fn socket() -> Option<PathBuf> {
    if let Some(address) = std::env::var_os("SPEECHD_ADDRESS") {
        let address = address.into_string().ok()?;
        return address.strip_prefix("unix_socket:").map(PathBuf::from);
    }
    let runtime = std::env::var_os("XDG_RUNTIME_DIR").filter(|dir| !dir.is_empty())?;
    Some(PathBuf::from(runtime).join("speech-dispatcher/speechd.sock"))
}

/// Has the dispatcher started, as its clients are meant to; it refuses where the person has it so.
fn start_it() -> io::Result<()> {
    let absent = |why: String| io::Error::other(format!("no speech dispatcher is there ({why})"));
    let mut starting = Command::new("speech-dispatcher")
        .arg("--spawn")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| absent(error.to_string()))?;
    let until = Instant::now() + START;
    loop {
        match starting.try_wait()? {
            Some(status) if status.success() => return Ok(()),
            Some(status) => return Err(absent(format!("it ended with {status}"))),
            None if Instant::now() > until => {
                starting.kill().ok();
                starting.wait().ok();
                return Err(absent("it did not start in time".to_owned()));
            }
            None => std::thread::sleep(Duration::from_millis(50)),
        }
    }
}

fn complain(why: &str) {
    let trouble = Trouble::new(
        "speech-silent",
        format!("Nothing can be spoken: {why}."),
        "Weighing and recording go on without a voice.",
        "Keep the page or the notices in view, or install the desktop's speech dispatcher.",
    );
    tracing::warn!(
        code = trouble.code,
        means = trouble.means,
        mend = trouble.mend,
        "{}",
        trouble.happened
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_cannot_end_itself_or_give_orders() {
        assert_eq!(data("Over by 0.12 g."), "Over by 0.12 g.\r\n.");
        assert_eq!(data("one\n.\nQUIT\u{0}"), "one\r\n..\r\nQUIT \r\n.");
    }
}
