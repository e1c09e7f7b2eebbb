//! Orders that are carried out, refused, or no orders at all.

use panbell::job::{How, Job};

use crate::support::desk::{Desk, Window, g, shown};
use crate::support::home::Home;
use crate::support::service::{plain, run};

#[test]
fn an_overshoot_taken_on_purpose_is_put_right_with_fine_gold() {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "20.00");
    desk.lot("916", "fire-assay", "1.00");
    assert!(
        desk.ok(&["withdraw"])
            .contains("Set aside: a lot of 916 ‰ by fire-assay (1.00 g)")
    );
    let window = desk.add(&[]);
    let mark = desk.follower.mark();
    desk.put(window.upper + g("0.30"));
    let bell = desk.follower.bell(mark, "over");
    assert!(
        bell["text"].as_str().unwrap().contains("fine gold"),
        "{bell}"
    );
    desk.at_rest(&shown(window.upper + g("0.30")));
    let said = desk.say(&["take"]).ends(3);
    assert!(
        said.contains("outside the window") && said.contains("fine gold"),
        "{said}"
    );
    let last = desk.home.captures("T-1").pop().unwrap();
    assert_eq!(
        (last.mass.mass(), last.how),
        (window.upper + g("0.30"), How::Taken)
    );

    let standing = desk.view()["sentence"].to_string();
    assert!(
        standing.contains("outside its window. Put it right with")
            && standing.contains("fine gold"),
        "{standing}"
    );
    desk.ok(&["add", "--with", "fine-gold"]);
    let rescue = Window::of(&desk.ready());
    let mark = desk.follower.mark();
    desk.put(rescue.aim);
    desk.follower.bell(mark, "recorded");
    let job: Job = desk.home.job("T-1");
    assert!(job.melt().is_at_least(job.opened.lowest) && job.melt().is_at_most(job.opened.highest));
    desk.empty();
    desk.ok(&["button"]);
    desk.ready();
    let mark = desk.follower.mark();
    desk.put(job.melt().mass());
    desk.follower.bell(mark, "recorded");
    let statement = desk.ok(&["close"]);
    assert!(
        statement.contains("(withdrawn)") && !statement.contains("Note:"),
        "{statement}"
    );
    let standing: Vec<bool> = desk
        .home
        .job("T-1")
        .weighed
        .iter()
        .map(|it| it.withdrawn)
        .collect();
    assert_eq!(standing, [false, true, false, false, false]);
    desk.verify();
}

#[test]
fn what_cannot_be_done_is_refused_in_three_sentences() {
    let desk = Desk::new();
    for words in [
        &["lot", "916", "fire-assay"][..],
        &["add"],
        &["take"],
        &["withdraw"],
        &["button"],
        &["answer", "back"],
        &["close"],
    ] {
        desk.say(words).is_refused("No job is open");
    }
    let open = |target: &str, colour: &str, more: &[&str]| {
        let mut words = vec!["open", "T-1", "--target", target, "--colour", colour];
        words.extend(more);
        desk.say(&words)
    };
    open("18ct", "red", &[]).is_refused("ct is the carat");
    open("18", "red", &[]).is_refused("not a fineness");
    open("1001", "red", &[]).is_refused("not a fineness");
    open("750", "purple", &[]).is_refused("colour");
    open("750", "red", &["--use", "tooth"]).is_refused("use");
    open("750", "red", &["--add", "unobtainium"]).is_refused("unobtainium");
    open("750", "red", &["--add", "fine-silver=none"]).is_refused("not a share");
    open("750", "red", &["--add", "750"]).is_refused("the target's own fineness");
    desk.say(&["open", "//.", "--target", "750", "--colour", "red"])
        .is_refused("neither a letter from A to Z nor a digit");
    desk.open("T-1", &["fine-copper"]);
    open("750", "red", &[]).is_refused("Job T-1 is open");
    desk.say(&["lot", "58.5", "stamp"])
        .is_refused("hardly any gold");
    desk.say(&["lot", "916", "hearsay"]).is_refused("basis");
    desk.say(&["lot", "0 ppt", "fire-assay"])
        .is_refused("without gold");
    desk.say(&["add"]).is_refused("Nothing has been weighed");
    desk.say(&["take"]).is_refused("No weighing is under way");
    desk.say(&["withdraw"])
        .is_refused("Nothing that is recorded is left");
    desk.say(&["button"]).is_refused("Nothing has been weighed");
    desk.say(&["answer", "tared"]).is_refused("asks nothing");
    desk.say(&["close", "--bench", "right"])
        .is_refused("no bench \"right\"");
    desk.lot("585", "stamp", "10.00");
    desk.say(&["add"]).is_refused("below 750");
    desk.say(&["add", "--with", "unobtainium"])
        .is_refused("unobtainium");
    desk.ok(&["lot", "585", "stamp"]);
    desk.ready();
    desk.say(&["take"]).is_refused("on the pan");
    // Refused orders left no trace.
    assert_eq!(desk.home.masses("T-1"), ["10.00 g"]);
    // JSON says the same to programs, with the code.
    let said = desk.say(&["--json", "withdraw", "--bench", "right"]);
    assert_eq!((said.code, said.err.as_str()), (1, ""));
    let refusal: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(refusal["code"], "bench-unknown");
}

#[test]
fn wrong_usage_ends_with_two_and_no_service_with_one() {
    let home = Home::new();
    for words in [
        &["melt"][..],
        &[],
        &["lot", "916"],
        &["open", "T-1"],
        &["answer", "perhaps"],
        &["rehearse", "--pace", "1000"],
        &["take", "--bench"],
    ] {
        let said = run(plain(home.path()).args(words));
        assert_eq!(said.code, 2, "{words:?}: {said:?}");
        assert!(!said.err.is_empty() && said.out.is_empty(), "{said:?}");
    }
    run(plain(home.path()).arg("take")).is_refused("No panbell service answers");
}

/// Metal that was poured must not be forgotten by an order that begins something else: it would be
/// in the melt and not in the book.
#[test]
fn metal_half_weighed_is_not_forgotten_by_another_order() {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "10.00");
    desk.add(&[]);
    desk.put(g("1.00"));
    desk.at_rest("1.00 g");
    for order in [
        &["add"][..],
        &["lot", "750", "stamp"],
        &["button"],
        &["close"],
    ] {
        desk.say(order)
            .is_refused("1.00 grams of fine copper are on the pan already");
    }
    // Nor while the balance is away.
    desk.balance.unplug().unwrap();
    desk.until("the hold", |view| view["hold"]["cause"] == "link");
    desk.say(&["add"]).is_refused("1.00 grams");
    desk.balance.plug().unwrap();
    desk.at_rest("1.00 g");
    // Said to be begun anew, it counts from what lies there, and says so.
    assert!(
        desk.yes(&["answer", "anew"])
            .ends(0)
            .contains("counts from the 1.00 g")
    );
    desk.close_as_it_is();
}
