//! One job from its opening to its statement, by commands, with nothing going wrong.

use std::process::Stdio;

use panbell::job::{How, Job, Record, What};
use rust_decimal::Decimal;
use serde_json::Value;

use crate::support::desk::{BENCH, Desk, g, shown};
use crate::support::http;
use crate::support::service::{self, KilledOnDrop, plain, run};

/// The value that a line of the statement gives to a label.
fn stated<'a>(statement: &'a str, label: &str) -> &'a str {
    let line = statement.lines().find(|line| line.starts_with(label));
    let line = line.unwrap_or_else(|| panic!("no \"{label}\" in\n{statement}"));
    line[label.len()..].trim()
}

#[test]
#[allow(clippy::too_many_lines)] // one job, told in one piece
fn a_whole_job_with_its_statement_and_its_file() {
    let desk = Desk::new();
    // Into a file: a pipe that nobody empties would stop it after 64 KiB.
    let followed = desk.home.path().join("followed");
    let mut follow = plain(desk.home.path())
        .args(["--json", "follow"])
        .stdin(Stdio::null())
        .stdout(std::fs::File::create(&followed).unwrap())
        .spawn()
        .map(KilledOnDrop)
        .unwrap();

    let opened = desk.open("T-1", &["fine-silver", "fine-copper"]);
    assert!(opened.contains("Job T-1 is open."), "{opened}");
    desk.lot("916", "fire-assay", "14.86");
    desk.lot("14k", "stamp", "6.20");
    let silver = desk.add_at_aim(&[]);
    let copper = desk.add_at_aim(&[]);
    desk.empty();
    desk.ok(&["button"]);
    desk.ready();
    let melt = g("14.86") + g("6.20") + silver + copper;
    let mark = desk.follower.mark();
    desk.put(melt - g("0.05"));
    let bell = desk.follower.bell(mark, "recorded");
    assert!(
        bell["text"].as_str().unwrap().contains("Lost 0.05 g"),
        "{bell}"
    );
    let mark = desk.follower.mark();
    let statement = desk.ok(&["close"]);
    desk.follower.bell(mark, "done");

    // 14.86 g of 916 hold 13.61176 g of gold; 6.20 g under a stamp of 14 k that may be 3 less are
    // taken for the middle, 581.8333..., and hold 3.6073666... g.
    assert_eq!(stated(&statement, "Lot 1, 916 ‰ by fire-assay"), "14.86 g");
    assert_eq!(stated(&statement, "Lot 2, 583.33 ‰ by stamp"), "6.20 g");
    assert_eq!(stated(&statement, "Added fine silver"), shown(silver));
    assert_eq!(stated(&statement, "Added fine copper"), shown(copper));
    assert_eq!(stated(&statement, "Client's metal"), "21.06 g");
    assert_eq!(stated(&statement, "Fine gold in the melt"), "17.2191 g");
    assert_eq!(stated(&statement, "In the melt"), shown(melt));
    assert_eq!(
        stated(&statement, "Out of the melt"),
        shown(melt - g("0.05"))
    );
    let taken = Decimal::from(14) / Decimal::from(24) - Decimal::new(15, 4);
    let gold = Decimal::new(1_361_176, 5) + Decimal::new(62, 1) * taken;
    let fineness = gold * Decimal::ONE_THOUSAND / melt.grams();
    assert!(fineness >= Decimal::from(750) && fineness <= Decimal::from(755));
    assert_eq!(
        stated(&statement, "Fineness by mass balance"),
        format!("{:.2} ‰", fineness.trunc_with_scale(2)),
        "{fineness}"
    );
    assert!(!statement.contains("Note:"), "{statement}");

    // The file says the same, as it was weighed.
    let captures = desk.home.captures("T-1");
    let told: Vec<(String, String)> = captures
        .iter()
        .map(|it| {
            let what = match &it.what {
                What::Lot { fineness, .. } => format!("lot {fineness}"),
                What::Addition { addition } => format!("addition {addition}"),
                What::Button => "button".to_owned(),
                What::InWater(_) => "in water".to_owned(),
            };
            (what, it.mass.to_string())
        })
        .collect();
    let masses = [
        "14.86 g".to_owned(),
        "6.20 g".to_owned(),
        shown(silver),
        shown(copper),
        shown(melt - g("0.05")),
    ];
    let whats = [
        "lot 916 ‰",
        "lot 583.33 ‰",
        "addition 1",
        "addition 2",
        "button",
    ];
    let expected: Vec<(String, String)> = whats.map(String::from).into_iter().zip(masses).collect();
    assert_eq!(told, expected);
    assert!(captures.iter().all(|it| it.how == How::Settled));
    for it in &captures {
        assert_eq!(it.gross.minus(it.base), Some(it.mass));
    }
    assert!(matches!(
        desk.home.records("T-1").last(),
        Some((_, Record::Close(closed))) if closed.warnings.is_empty()
    ));
    let verified = desk.verify();
    assert!(verified.contains("every one in its place"), "{verified}");

    // A follower with --json gives one object a line, of every kind.
    follow.0.kill().unwrap();
    follow.0.wait().unwrap();
    let lines = std::fs::read_to_string(&followed).unwrap();
    let mut kinds = std::collections::BTreeMap::<String, usize>::new();
    let whole = lines.rsplit_once('\n').unwrap().0;
    for line in whole.lines() {
        let event: Value = serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}"));
        assert!(event.is_object(), "{line}");
        *kinds
            .entry(event["event"].as_str().unwrap().to_owned())
            .or_default() += 1;
    }
    assert_eq!(
        kinds.keys().collect::<Vec<_>>(),
        ["beat", "bell", "reading", "state"]
    );
    assert!(kinds["reading"] > 50, "{kinds:?}");
    assert!(kinds["bell"] >= 6, "{kinds:?}");
}

#[test]
fn the_same_orders_by_http_and_by_curl() {
    let desk = Desk::new();
    let socket = desk.home.socket();
    let open = r#"{"order":"open","ticket":"T-2","target":"750","colour":"red","add":[{"metal":"fine-copper"}]}"#;
    let reply = http::order(&socket, "-", open).unwrap();
    assert_eq!(reply.status, 200, "{reply:?}");
    assert_eq!(reply.json()["warning"], false);
    let lot = r#"{"order":"lot","fineness":"916","basis":"declared"}"#;
    assert_eq!(http::order(&socket, BENCH, lot).unwrap().status, 200);
    desk.ready();
    let mark = desk.follower.mark();
    desk.put(g("3.21"));
    desk.follower.bell(mark, "recorded");

    let order = r#"{"order":"close"}"#;
    let asked = http::order(&socket, BENCH, order).unwrap();
    assert_eq!(asked.status, 409, "{asked:?}");
    assert_eq!(asked.json()["code"], "job-unfinished");
    let word = asked.json()["confirm"].as_str().unwrap().to_owned();
    let again = http::order(&socket, BENCH, order).unwrap();
    assert_eq!(again.status, 409, "a second order is no yes: {again:?}");
    let order = &format!(r#"{{"order":"close","on":{{"confirm":"{word}","ticket":"T-2"}}}}"#);
    let has_curl = std::process::Command::new("curl").arg("--version").output();
    let reply: Value = if has_curl.is_ok_and(|it| it.status.success()) {
        let mut curl = std::process::Command::new("curl");
        curl.args(["--silent", "--show-error", "--max-time", "20"])
            .arg("--unix-socket")
            .arg(&socket)
            .args(["-H", "content-type: application/json", "-d", order])
            .arg(format!("http://panbell/v1/bench/{BENCH}/order"));
        serde_json::from_str(&run(&mut curl).ends(0)).unwrap()
    } else {
        service::loud("no curl here; the order goes by the test's own HTTP instead");
        http::order(&socket, BENCH, order).unwrap().json()
    };
    assert_eq!(reply["warning"], true, "{reply}");
    assert!(
        reply["text"].as_str().unwrap().contains("3.21 g"),
        "{reply}"
    );
    assert_eq!(desk.home.masses("T-2"), ["3.21 g"]);
    let job: Job = desk.home.job("T-2");
    assert_eq!(job.closed.unwrap().warnings.len(), 3);
}
