//! A bench with its page open in a browser, and what hands do on it.

use std::net::SocketAddr;

use serde_json::{Value, json};

use crate::driver::{Browser, free_port};
use crate::support::desk::{BENCH, Desk, g};
use crate::support::home::{self, Home};
use crate::support::service::{self, plain, run};

pub(crate) struct Stage {
    pub(crate) page: Browser,
    pub(crate) desk: Desk,
}

/// Settings of one bench with its page on this port, quick enough for a test.
fn settings(home: &Home, port: u16, dwell: &str) -> String {
    let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
    let bench = bench.replace("dwell_seconds = 0.5", &format!("dwell_seconds = {dwell}"));
    format!("[bell]\ndesktop = false\n[page]\nat = \"127.0.0.1:{port}\"\n{bench}")
}

/// The whole address of the page, with its token.
pub(crate) fn address(home: &Home) -> String {
    run(plain(home.path()).arg("page"))
        .ends(0)
        .trim_end()
        .to_owned()
}

impl Stage {
    /// A bench whose page is open.
    pub(crate) fn set() -> Self {
        Self::opened(Self::unopened())
    }

    /// One where an addition may lie within its window as long as a test looks at it.
    pub(crate) fn patient() -> Self {
        Self::opened(Self::of("60"))
    }

    fn opened(stage: Self) -> Self {
        stage.page.go(&address(&stage.desk.home));
        stage.until_shown();
        stage
    }

    /// The same, no page being open yet. The port stays the same when the service starts again.
    pub(crate) fn unopened() -> Self {
        Self::of("0.5")
    }

    pub(crate) fn unopened_patient() -> Self {
        Self::of("60")
    }

    /// A bench whose service waits so many seconds for a balance that is silent, its page open.
    pub(crate) fn waiting(silence: &str) -> Self {
        let link = format!("[bench.link]\nsilence_seconds = {silence}\n");
        Self::opened(Self::with("0.5", &link))
    }

    fn of(dwell: &str) -> Self {
        Self::with(dwell, "")
    }

    fn with(dwell: &str, further: &str) -> Self {
        let port = free_port();
        let desk = Desk::set(|home| {
            home.settings(&format!("{}{further}", settings(home, port, dwell)));
            service::command(home.path())
        });
        Self {
            page: Browser::start(),
            desk,
        }
    }

    pub(crate) fn at(&self) -> SocketAddr {
        let address = address(&self.desk.home);
        let bare = address
            .strip_prefix("http://")
            .unwrap()
            .split('/')
            .next()
            .unwrap();
        bare.parse().unwrap()
    }

    /// Waits until the page shows the bench.
    pub(crate) fn until_shown(&self) {
        self.page.until(
            "the bench is shown",
            "return location.pathname === '/bench/left' && document.getElementById('cover')?.hidden === true \
             && document.getElementById('unit').textContent === 'grams'",
            &Value::Null,
        );
    }

    /// Waits until this is offered, and clicks it.
    pub(crate) fn take_up(&self, offer: &str) {
        self.until_offered(offer);
        self.page.click(&format!("[data-offer={offer}]"));
    }

    pub(crate) fn until_offered(&self, offer: &str) {
        let script = "const it = document.querySelector(`[data-offer=${arguments[0]}]`); \
            return it?.dataset.ready === 'yes' && !it.ariaDisabled";
        self.page
            .until(&format!("{offer} is offered"), script, &offer.into());
    }

    /// The same for the likeliest, which the keys N and Enter take up.
    pub(crate) fn until_likeliest(&self, offer: &str) {
        let script = "const it = document.querySelector('.offers .main'); \
            return it?.dataset.offer === arguments[0] && it.dataset.ready === 'yes' && !it.ariaDisabled";
        self.page
            .until(&format!("{offer} is likeliest"), script, &offer.into());
    }

    /// Moves the keyboard on, by Tab, until it is at what is wanted.
    pub(crate) fn tab_to(&self, wanted: &str) {
        assert!(self.tabs_to(wanted), "Tab never came to {wanted}");
    }

    /// Whether Tab comes to what is wanted.
    pub(crate) fn tabs_to(&self, wanted: &str) -> bool {
        let there = "return document.activeElement.matches(arguments[0])";
        for _ in 0..120 {
            if self.page.run(there, wanted.into()) == Value::Bool(true) {
                return true;
            }
            self.page.press("\u{e004}");
        }
        false
    }

    /// Lets the time pass in which a press of the same key would be a bounce.
    #[allow(clippy::unused_self)]
    pub(crate) fn between_presses(&self) {
        std::thread::sleep(std::time::Duration::from_millis(300));
    }

    /// Waits until the second press of a tile would count.
    pub(crate) fn until_asked(&self, offer: &str) {
        let script = "const it = document.querySelector(`[data-offer=${arguments[0]}]`); \
            return it?.dataset.sure === 'yes' && it.textContent.startsWith('Press again')";
        self.page
            .until(&format!("{offer} asks"), script, &offer.into());
    }

    pub(crate) fn until_sheet(&self, title: &str) {
        let script = "const it = document.querySelector('dialog[open]'); \
            return it?.querySelector('h2').textContent === arguments[0] && it.dataset.ready === 'yes'";
        self.page.until(
            &format!("the sheet \"{title}\" is open"),
            script,
            &title.into(),
        );
    }

    /// Chooses a tile of the sheet.
    pub(crate) fn choose(&self, label: &str) {
        let script = "const tile = [...document.querySelectorAll('dialog[open] .tile, dialog[open] .mark')]\
            .find((it) => (it.querySelector('span') ?? it).textContent === arguments[0]); tile.id = 'chosen-tile'";
        self.page.run(script, label.into());
        self.page.click("#chosen-tile");
        self.page.run(
            "document.getElementById('chosen-tile').id = ''",
            Value::Null,
        );
    }

    /// Presses the button of the sheet and waits until it is gone.
    pub(crate) fn send(&self) {
        self.page.click("dialog[open] .foot .main");
        self.until_no_sheet();
    }

    pub(crate) fn until_no_sheet(&self) {
        let script = "return !document.querySelector('dialog[open] .foot .main')";
        self.page.until("the sheet is gone", script, &Value::Null);
    }

    pub(crate) fn steps(&self) -> Value {
        let script = "return [...document.querySelectorAll('.step')].map((it) => it.className.replace('step ', ''))";
        self.page.run(script, Value::Null)
    }

    /// Waits until the pan may be loaded, puts this on it, and waits until it is recorded.
    pub(crate) fn weigh(&self, mass: &str) {
        self.desk.ready();
        let mark = self.desk.follower.mark();
        self.desk.put(g(mass));
        self.desk.follower.bell(mark, "recorded");
    }

    /// Waits until the page says this of the pan.
    pub(crate) fn until_net(&self, shows: &str) {
        let script = "return document.getElementById('net').textContent === arguments[0]";
        self.page
            .until(&format!("the pan shows {shows}"), script, &shows.into());
    }

    /// Waits until the beam has come to where it belongs, and no picture is due any more.
    pub(crate) fn until_still(&self) {
        self.page.wait_for(
            "const arm = document.querySelector('.arm'); let was = null, same = 0; \
             for (let frames = 0; frames < 600 && same < 12; frames += 1) { \
               await new Promise(requestAnimationFrame); \
               const is = arm.getAttribute('transform'); same = is === was ? same + 1 : 0; was = is; }",
            Value::Null,
        );
    }

    /// A picture of a beam at rest.
    pub(crate) fn picture(&self, name: &str) {
        self.until_still();
        self.page.picture(name);
    }

    /// Where the tip of the beam stands, and where the slot begins and ends at the post's face, in
    /// pixels from the top.
    pub(crate) fn beam(&self) -> (f64, f64, f64) {
        self.until_still();
        let script = "const tip = document.querySelector('.tip'), cut = document.querySelector('.cut'); \
            const seen = (of, x, y) => new DOMPoint(x, y).matrixTransform(of.getScreenCTM()).y; \
            const end = tip.getBBox(), slot = cut.getBBox(), foot = cut.getPointAtLength(0).y; \
            const top = 2 * slot.y + slot.height - foot; \
            return [seen(tip, end.x + end.width, end.y + end.height / 2), seen(cut, 0, top), seen(cut, 0, foot)]";
        let all = self.page.run(script, Value::Null);
        let part = |at: usize| all[at].as_f64().unwrap();
        (part(0), part(1), part(2))
    }

    /// A job opened by command, with two lots and the first addition begun; gives lower edge, aim and upper edge.
    pub(crate) fn adding(&self) -> [String; 3] {
        self.desk.open("P-1", &["fine-silver", "fine-copper"]);
        self.desk.lot("916", "fire-assay", "14.86");
        self.desk.lot("14k", "stamp", "6.20");
        self.desk.ok(&["add"]);
        let view = self.desk.until("there is a window", |view| {
            view["weighing"]["aim"].is_string() && view["pan"]["net"].is_string()
        });
        ["lower", "aim", "upper"].map(|edge| view["weighing"][edge].as_str().unwrap().to_owned())
    }

    pub(crate) fn no_complaints(&self) {
        let complaints = self.page.complaints();
        assert!(complaints.is_empty(), "{complaints:#?}");
    }
}

/// What is on the page must be within its width: nothing is cut off or has to be looked for.
pub(crate) fn is_within_width(page: &Browser) {
    let wide = page.run(
        "return [document.documentElement.scrollWidth, innerWidth, \
          [...document.querySelectorAll('main *')].filter((it) => it.offsetParent && it.getBoundingClientRect().right > innerWidth + 1 && !it.closest('.offers, .unseen, svg')).map((it) => it.id || it.className || it.tagName).slice(0, 5)]",
        json!(null),
    );
    assert!(wide[0].as_u64() <= wide[1].as_u64(), "{wide}");
    assert_eq!(wide[2], json!([]), "{wide}");
}
