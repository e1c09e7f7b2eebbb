//! The bells in a process of their own, told what to do line by line: this very test program,
//! started again as [`child`]. Which bus is used is a matter of the environment, and that of a
//! running process is not to be changed.

use std::io::{BufRead, BufReader, Write};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use panbell::bell::{Bells, PanNow, Peal, Told, Tune};
use panbell::job::{BellKind, Ring};
use panbell::settings::BellSettings;
use panbell::trouble::Trouble;
use serde_json::{Value, json};

use crate::LIMIT;

/// The longest that `ring` may take on a busy machine; any wait for a desktop takes longer.
const NO_TIME_MS: u64 = 500;

fn kind(word: &str) -> BellKind {
    let is_it = |kind: &BellKind| kind.word() == word;
    BellKind::ALL.into_iter().find(is_it).unwrap()
}

/// Not a test: the other half of [`Ringer`].
#[test]
#[ignore = "started by the other tests"]
fn child() {
    tracing_subscriber::fmt()
        .with_ansi(false)
        .without_time()
        .with_writer(std::io::stdout)
        .init();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(obey());
}

#[allow(clippy::too_many_lines)] // one arm an order
async fn obey() {
    let (line, mut lines) = tokio::sync::mpsc::channel::<String>(1);
    std::thread::spawn(move || {
        for read in std::io::stdin().lines() {
            if line.blocking_send(read.unwrap()).is_err() {
                return;
            }
        }
    });
    let (press, mut presses) = tokio::sync::mpsc::channel(8);
    let (sender, task) = Bells::start(&BellSettings::default(), press);
    // The longest time for which a task that wanted to run could not.
    let gap = std::rc::Rc::new(std::cell::Cell::new(Duration::ZERO));
    let seen = std::rc::Rc::clone(&gap);
    let ticking = async move {
        loop {
            let before = Instant::now();
            tokio::time::sleep(Duration::from_millis(5)).await;
            seen.set(seen.get().max(before.elapsed()));
        }
    };
    let obeying = async {
        while let Some(line) = lines.recv().await {
            let order: Value = serde_json::from_str(&line).unwrap();
            let text = |key: &str| order[key].as_str().unwrap_or_default().to_owned();
            let answer = match text("do").as_str() {
                "ring" => {
                    let peal = Peal {
                        bench: text("bench"),
                        ring: Ring {
                            kind: kind(&text("kind")),
                            title: text("title"),
                            text: text("text"),
                        },
                    };
                    let before = Instant::now();
                    sender.ring(peal);
                    json!(before.elapsed().as_millis())
                }
                "burst" => {
                    let before = Instant::now();
                    for number in 1..=order["rings"].as_u64().unwrap() {
                        let mut kinds = BellKind::ALL.into_iter().cycle();
                        let nth = usize::try_from(number).unwrap();
                        sender.ring(Peal {
                            bench: text("bench"),
                            ring: Ring {
                                kind: kinds.nth(nth % 8).unwrap(),
                                title: format!("{}{number}", text("title")),
                                text: String::new(),
                            },
                        });
                        if order["yield"].as_bool().unwrap() {
                            tokio::task::yield_now().await;
                        }
                    }
                    json!(before.elapsed().as_millis())
                }
                "pan" => {
                    let progress = order["progress"]
                        .as_u64()
                        .map(|it| u8::try_from(it).unwrap());
                    let tune = Tune::Silent;
                    sender.pan(&text("bench"), PanNow { progress, tune });
                    json!(null)
                }
                "ordered" => {
                    sender.ordered(&text("bench"));
                    json!(null)
                }
                // The next press, if there is one; answered as told.
                "press" => match presses.try_recv() {
                    Err(_) => json!(null),
                    Ok(press) => {
                        let told = match order["told"].as_str() {
                            Some(told) => Ok(Told {
                                title: text("title"),
                                text: told.to_owned(),
                            }),
                            None => {
                                Err(Trouble::new("no", "It happened.", "It means.", "Mend it."))
                            }
                        };
                        let gone = press.answer.send(told).is_err();
                        json!([press.bench, format!("{:?}", press.act), gone])
                    }
                },
                "trouble" => json!(sender.trouble().map(|trouble| trouble.code)),
                "gap" => json!(gap.take().as_millis()),
                "sockets" => json!(std::fs::read_dir("/proc/self/fd").unwrap().count()),
                "finish" => break,
                other => panic!("no such order: {other}"),
            };
            println!("=> {answer}");
        }
    };
    tokio::select! {
        () = obeying => {}
        () = ticking => {}
    }
    drop(sender);
    let before = Instant::now();
    task.finish().await;
    println!("=> {}", before.elapsed().as_millis());
}

/// A process with the bells in it.
pub(crate) struct Ringer {
    pub(crate) child: Child,
    orders: ChildStdin,
    lines: mpsc::Receiver<String>,
    log: Vec<String>,
}

impl Ringer {
    pub(crate) fn start(address: &str) -> Self {
        Self::start_as(&std::env::current_exe().unwrap(), address, Stdio::inherit())
    }

    pub(crate) fn start_as(program: &Path, address: &str, stderr: Stdio) -> Self {
        let mut child = Command::new(program)
            .arg0("child")
            .args(["--exact", "ringer::child", "--ignored", "--nocapture"])
            .env("DBUS_SESSION_BUS_ADDRESS", address)
            .env_remove("XDG_RUNTIME_DIR")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(stderr)
            .spawn()
            .unwrap();
        let said = BufReader::new(child.stdout.take().unwrap());
        let (line, lines) = mpsc::channel();
        std::thread::spawn(move || {
            for read in said.lines().map_while(Result::ok) {
                if line.send(read).is_err() {
                    return;
                }
            }
        });
        Self {
            orders: child.stdin.take().unwrap(),
            child,
            lines,
            log: Vec::new(),
        }
    }

    pub(crate) fn ask(&mut self, order: &Value) -> Value {
        writeln!(self.orders, "{order}").unwrap();
        let until = Instant::now() + LIMIT;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let line = self.lines.recv_timeout(left);
            let line = line.unwrap_or_else(|_| panic!("no answer to {order}; log {:?}", self.log));
            // The test harness of the child may leave words before ours on the line.
            if let Some((_, answer)) = line.split_once("=> ") {
                return serde_json::from_str(answer).unwrap();
            }
            self.log.push(line);
        }
    }

    pub(crate) fn ring(&mut self, bench: &str, kind: BellKind, title: &str) {
        let order = json!({
            "do": "ring", "bench": bench, "kind": kind.word(), "title": title, "text": "Some text.",
        });
        let took = self.ask(&order).as_u64().unwrap();
        assert!(took < NO_TIME_MS, "ringing took {took} ms");
    }

    pub(crate) fn burst(&mut self, bench: &str, rings: u64, title: &str, yields: bool) {
        let order = json!({
            "do": "burst", "bench": bench, "rings": rings, "title": title, "yield": yields,
        });
        self.ask(&order);
    }

    pub(crate) fn number(&mut self, what: &str) -> u64 {
        self.ask(&json!({ "do": what })).as_u64().unwrap()
    }

    /// Waits until the trouble is this one.
    pub(crate) fn wait_trouble(&mut self, code: Option<&str>) {
        let until = Instant::now() + LIMIT;
        loop {
            let trouble = self.ask(&json!({"do": "trouble"}));
            if trouble.as_str() == code {
                return;
            }
            assert!(Instant::now() < until, "{trouble} instead of {code:?}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    pub(crate) fn warnings(&mut self) -> Vec<String> {
        self.number("gap"); // so that all that was said before has been read
        let warnings = self.log.iter().filter(|line| line.contains("WARN"));
        warnings.cloned().collect()
    }
}

impl Drop for Ringer {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}
