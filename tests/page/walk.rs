//! Walks at random through the page, by keys alone and by touch alone, with contacts that bounce and a pan that does not
//! help: wherever a walk comes, the page shows what the service would take and nothing else, what it offers is taken, one
//! press gives one order at the most, and there is a way out.
//!
//! `WALKS=40 SEED=7 cargo test --test page walk -- --nocapture` walks more, and otherwise.

use std::time::{Duration, Instant};

use panbell::mass::{Mass, Unit};
use serde_json::{Value, json};

use crate::driver::PHONE;
use crate::stage::{Stage, address};
use crate::support::desk::g;
use crate::support::follower::LIMIT;

/// Every order that the page sends, with what came of it.
pub(crate) const LISTEN: &str = "
    window.sent = [];
    const real = window.fetch;
    window.fetch = async (path, options) => {
        if (!String(path).endsWith('/order')) return real(path, options);
        const body = JSON.parse(options.body), one = { id: body.on?.id, order: body.order, on: body.on, body };
        window.sent.push(one);
        const answer = await real(path, options);
        one.status = answer.status;
        const told = await answer.clone().json().catch(() => ({}));
        one.code = told.code ?? null;
        one.confirm = told.confirm ?? null;
        return answer;
    };";

/// What can be seen of the page.
const LOOK: &str = "
    const sheet = document.querySelector('dialog[open]'), cover = document.getElementById('cover');
    const tiles = [...document.querySelectorAll('[data-offer]')];
    return {
        tiles: tiles.map((it) => it.dataset.offer), main: document.querySelector('.main[data-offer]')?.dataset.offer ?? null,
        rests: tiles.every((it) => it.dataset.ready === 'yes' && !it.ariaDisabled) && (!sheet || sheet.dataset.ready === 'yes')
            && !sheet?.querySelector('.foot .main')?.ariaDisabled,
        sheet: sheet?.querySelector('h2').textContent ?? null, sends: Boolean(sheet?.querySelector('.foot .main')),
        covered: !cover.hidden, why: cover.hidden ? '' : document.getElementById('hold-why').textContent,
        sentence: document.getElementById('sentence').textContent, sheets: document.querySelectorAll('dialog').length,
        unasked: document.querySelectorAll('.asked').length === 0,
        trouble: sheet?.querySelector('.trouble').textContent ?? '', sent: window.sent,
    };";

/// A generator that needs no crate: splitmix64 (Steele, Lea and Flood, 2014).
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((z ^ (z >> 31)) % most as u64).unwrap()
    }

    fn one_of<'a, T: ?Sized>(&mut self, list: &[&'a T]) -> &'a T {
        list[self.below(list.len())]
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum By {
    Keys,
    Touch,
}

struct Walk<'a> {
    stage: &'a Stage,
    by: By,
    dice: Dice,
    /// What was done, to be read when something is wrong.
    way: Vec<String>,
    is_plugged: bool,
    unit: Unit,
    presses: usize,
    given: usize,
    seen: std::collections::BTreeSet<String>,
}

impl Walk<'_> {
    fn look(&self) -> Value {
        self.stage.page.run(LOOK, Value::Null)
    }

    fn fail(&self, what: &str) -> ! {
        let last = self.way.len().saturating_sub(14);
        panic!(
            "{what}\nby {:?}, after {:#?}\n{:#}\n{:#}",
            self.by,
            &self.way[last..],
            self.look(),
            self.stage.desk.view()
        );
    }

    /// Waits until nothing is under way, and the page shows what the service would take.
    fn rest(&mut self) -> Value {
        let until = Instant::now() + LIMIT;
        loop {
            let (before, seen) = (self.stage.desk.view(), self.look());
            if seen["sent"].is_null() {
                // A link was followed, and leads back here: this page is another.
                self.stage.page.run(LISTEN, Value::Null);
                continue;
            }
            let mut offered: Vec<&str> = before["actions"]
                .as_array()
                .unwrap()
                .iter()
                .map(|it| it["action"].as_str().unwrap())
                .collect();
            let mut tiles: Vec<&str> = seen["tiles"]
                .as_array()
                .unwrap()
                .iter()
                .map(|it| it.as_str().unwrap())
                .collect();
            let main = before["actions"]
                .as_array()
                .unwrap()
                .iter()
                .find(|it| it["main"] == true);
            let main = main.map_or(Value::Null, |it| it["action"].clone());
            offered.sort_unstable();
            tiles.sort_unstable();
            if seen["rests"] == true
                && !offered.is_empty()
                && offered == tiles
                && (seen["main"] == main || seen["main"].is_null())
            {
                let mut sent = seen["sent"].as_array().into_iter().flatten();
                let answered = sent.all(|it| it["status"].is_u64());
                if answered {
                    self.seen.extend(tiles.iter().map(|it| (*it).to_owned()));
                    return seen;
                }
            }
            if Instant::now() > until {
                self.fail("the page never came to show what the service would take");
            }
            std::thread::sleep(Duration::from_millis(30));
        }
    }

    /// The pan does something, and comes to rest.
    fn pan(&mut self) {
        let desk = &self.stage.desk;
        let on_pan = desk.on_pan();
        let what = self.dice.below(14);
        let load = |it: Mass| desk.place(it);
        match what {
            0..=2 => load(on_pan + g(self.dice.one_of(&["0.90", "5.00", "12.34", "0.06"]))),
            3..=5 => load(Mass::ZERO),
            6 => load(g("-35.20")),
            7 => load(on_pan + g("0.01")),
            8 => load(on_pan - g("0.01")),
            9 => load(on_pan - g(self.dice.one_of(&["0.50", "2.00"]))),
            10 => desk.balance.press_tare().unwrap(),
            11 => {
                if self.is_plugged {
                    desk.balance.unplug().unwrap();
                } else {
                    desk.balance.plug().unwrap();
                }
                self.is_plugged = !self.is_plugged;
            }
            12 => {
                self.unit = if self.unit == Unit::Gram {
                    Unit::Carat
                } else {
                    Unit::Gram
                };
                desk.balance.press_unit(self.unit).unwrap();
            }
            _ => desk.pour(g("0.85"), Duration::from_millis(600)),
        }
        self.way.push(format!(
            "pan {what}: {} on it, plugged {}, {:?}",
            crate::support::desk::shown(desk.on_pan()),
            self.is_plugged,
            self.unit
        ));
        // Until it lies still, and what that brings has come.
        std::thread::sleep(Duration::from_millis(450));
    }

    fn press(&mut self, seen: &Value) {
        let before = seen["sent"].as_array().unwrap().len();
        let (what, is_main) = match self.by {
            By::Keys => self.key(seen),
            By::Touch => self.touch(seen),
        };
        self.presses += 1;
        self.way.push(format!(
            "{what} (main {}, sheet {})",
            seen["main"], seen["sheet"]
        ));
        let after = self.rest();
        let sent = after["sent"].as_array().unwrap();
        let sent = sent.get(before..).unwrap_or(sent);
        let mut ids: Vec<&Value> = sent.iter().map(|it| &it["id"]).collect();
        ids.dedup();
        if ids.len() > 1 {
            self.fail(&format!("one press gave {} orders: {sent:#?}", ids.len()));
        }
        if after["sheets"].as_u64() > Some(1) {
            self.fail("two sheets lie over each other");
        }
        for one in sent {
            self.given += 1;
            let (status, code) = (
                one["status"].as_u64().unwrap(),
                one["code"].as_str().unwrap_or_default(),
            );
            // What is typed may be refused; what stands on a tile is taken, or asks for a yes.
            let is_typed = seen["sheet"].is_string();
            let is_taken = status == 200 || one["confirm"].is_string();
            // The bench may record by itself in the very moment of the press.
            if !is_taken && !is_typed && code != "state-changed" {
                self.fail(&format!("what was offered was refused: {one:#}"));
            }
            if is_main && !is_taken && code != "state-changed" {
                self.fail(&format!("the main step was refused: {one:#}"));
            }
        }
    }

    /// A key, as a foot switch or a keyboard types it; says what, and whether it is the main step.
    fn key(&mut self, seen: &Value) -> (String, bool) {
        let page = &self.stage.page;
        let is_main = seen["sheet"].is_null() && seen["main"].is_string();
        let has_field = seen["sends"] == true && self.dice.below(2) == 0;
        if has_field {
            let fields = page.run("return [...document.querySelectorAll('dialog input[data-number]')].filter((it) => it.offsetParent).length", Value::Null);
            if fields.as_u64() > Some(0) {
                let typed = self.dice.one_of(&["750", "916", "585", "18k", "n20"]);
                self.stage.tab_to("dialog input[data-number]");
                page.press(typed);
                page.bounce("\u{e007}", &[12, 20, 40]);
                return (format!("types {typed} and Enter"), false);
            }
        }
        let key = self.dice.one_of(&[
            "n", "n", "n", "n", "\u{e007}", "\u{e007}", " ", " ", "\u{e003}", "\u{e003}", "1", "2",
            "3", "tab", "tab", "tab", "esc",
        ]);
        // A hand waits longer between presses than a contact bounces.
        self.stage.between_presses();
        match key {
            "tab" => {
                let times = 1 + self.dice.below(6);
                for _ in 0..times {
                    page.press("\u{e004}");
                }
                (format!("Tab {times}"), false)
            }
            "esc" => {
                page.press("\u{e00c}");
                ("Esc".to_owned(), false)
            }
            _ => {
                let turns: &[u64] = [
                    &[60][..],
                    &[12, 15, 70],
                    &[30, 12, 20, 60, 40],
                    &[140, 20, 30],
                ][self.dice.below(4)];
                let focus = page.run(
                    "return document.activeElement?.matches('button') === true",
                    Value::Null,
                );
                page.bounce(key, turns);
                let is_next = key == "n" || (key == "\u{e007}" && focus == false);
                (
                    format!("key {key:?} bouncing {turns:?}"),
                    is_main && is_next,
                )
            }
        }
    }

    /// A tap, or two, on something that can be tapped.
    fn touch(&mut self, seen: &Value) -> (String, bool) {
        let page = &self.stage.page;
        let place = if seen["sheet"].is_string() {
            "dialog .foot button, dialog .tile, dialog .mark, dialog .key"
        } else {
            "[data-offer], [data-offer], [data-waits]"
        };
        let weight = if self.dice.below(2) == 0 && seen["sends"] == true {
            "dialog .foot .main"
        } else {
            place
        };
        let nth = self.dice.below(1000);
        let found = page.run(
            "const all = [...document.querySelectorAll(arguments[0][0])].filter((it) => it.offsetParent); \
             document.querySelector('[data-tapped]')?.removeAttribute('data-tapped'); \
             const it = all[arguments[0][1] % all.length]; if (!it) return null; it.dataset.tapped = 'yes'; \
             return [it.textContent, it.classList.contains('main') && Boolean(it.dataset.offer)]",
            json!([weight, nth]),
        );
        if found.is_null() {
            return ("nothing to tap".to_owned(), false);
        }
        let times = 1 + self.dice.below(2);
        page.tap("[data-tapped]", times, 40);
        std::thread::sleep(Duration::from_millis(60));
        (format!("taps {} {times} times", found[0]), found[1] == true)
    }

    /// The hands help: an empty pan, in grams, plugged in. The page must have a way to close the job.
    fn out(&mut self) {
        let desk = &self.stage.desk;
        if !self.is_plugged {
            desk.balance.plug().unwrap();
        }
        if self.unit != Unit::Gram {
            desk.balance.press_unit(Unit::Gram).unwrap();
        }
        (self.is_plugged, self.unit) = (true, Unit::Gram);
        desk.place(Mass::ZERO);
        let until = Instant::now() + 2 * LIMIT;
        let is_under_way = |walk: &Self| {
            let view = walk.stage.desk.view();
            // A check weight that was asked for is shown, or left.
            let may_leave = view["actions"]
                .as_array()
                .unwrap()
                .iter()
                .any(|it| it["action"] == "leave");
            view["job"]["open"] == true || may_leave || walk.look()["sheet"].is_string()
        };
        while is_under_way(self) {
            if Instant::now() > until {
                self.fail("there was no way out");
            }
            let seen = self.rest();
            let wanted = if seen["sheet"] == "Close the job" || seen["sheet"] == "Begin anew" {
                "dialog .foot .main"
            } else if seen["sheet"].is_string() {
                // The one that puts it away; the other gives its order.
                "dialog .foot button:first-child"
            } else {
                let has = |key: &str| seen["tiles"].as_array().unwrap().contains(&key.into());
                if has("leave") {
                    "[data-offer=leave]"
                } else if has("close") {
                    "[data-offer=close]"
                } else {
                    "[data-offer=anew], [data-offer]"
                }
            };
            self.way.push(format!("out by {wanted}"));
            match self.by {
                By::Keys => {
                    self.stage.between_presses();
                    if !self.stage.tabs_to(wanted) {
                        // What the pan did meanwhile may have ended what was offered.
                        let still = "return document.querySelector(arguments[0]) !== null";
                        if self.stage.page.run(still, wanted.into()) == Value::Bool(true) {
                            self.fail(&format!("Tab never comes to {wanted}"));
                        }
                        continue;
                    }
                    self.stage.page.press("\u{e007}");
                }
                By::Touch => {
                    std::thread::sleep(Duration::from_millis(400));
                    self.stage.page.tap(wanted, 1, 0);
                }
            }
            std::thread::sleep(Duration::from_millis(150));
        }
        // The balance's own tare key was perhaps pressed with something on it.
        desk.until("the pan rests", |view| view["pan"]["steady"] == true);
        desk.balance.press_tare().unwrap();
        desk.at_rest("0.00 g");
    }
}

fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap())
}

fn walks(by: By, usual: u64) {
    let stage = Stage::unopened();
    if by == By::Touch {
        stage.page.screen(PHONE);
    }
    stage.page.go(&address(&stage.desk.home));
    stage.until_shown();
    stage.page.run(LISTEN, Value::Null);
    let (count, seed) = (number("WALKS", usual), number("SEED", 20_261_130));
    let (mut presses, mut given) = (0, 0);
    let mut seen = std::collections::BTreeSet::new();
    for nth in 0..count {
        println!("walk {nth} of seed {seed} by {by:?}");
        let mut walk = Walk {
            stage: &stage,
            by,
            dice: Dice(seed.wrapping_add(nth * 7919) ^ by as u64),
            way: vec![format!("walk {nth} of seed {seed}")],
            is_plugged: true,
            unit: Unit::Gram,
            presses: 0,
            given: 0,
            seen: std::collections::BTreeSet::new(),
        };
        // Most walks begin within a job, where there is more to meet.
        if nth % 4 != 3 {
            stage
                .desk
                .open(&format!("W-{seed}-{nth}"), &["fine-silver", "fine-copper"]);
            if nth % 4 > 0 {
                stage.desk.lot("916", "fire-assay", "14.86");
            }
            if nth % 4 > 1 {
                // Done, with a warning: what was planned is not added.
                stage.desk.say(&["button"]).ends(3);
                stage.weigh("14.80");
                stage.desk.empty();
            }
        }
        for _ in 0..number("STEPS", 14) {
            if walk.dice.below(3) == 0 {
                walk.pan();
            }
            let seen = walk.rest();
            walk.press(&seen);
        }
        walk.out();
        presses += walk.presses;
        given += walk.given;
        seen.append(&mut walk.seen);
        stage.desk.verify();
    }
    println!("{count} walks by {by:?}: {presses} presses, {given} orders; offered were {seen:?}");
    assert!(
        given > usize::try_from(count).unwrap(),
        "the walks did nothing"
    );
    let complaints: Vec<String> = stage
        .page
        .complaints()
        .into_iter()
        .filter(|it| !it.contains("/order"))
        .collect();
    assert!(complaints.is_empty(), "{complaints:#?}");
}

#[test]
fn walks_by_keys_alone_find_no_dead_end_and_nothing_refused_that_was_offered() {
    walks(By::Keys, 2);
}

#[test]
fn walks_by_touch_alone_find_no_dead_end_and_nothing_refused_that_was_offered() {
    walks(By::Touch, 2);
}
