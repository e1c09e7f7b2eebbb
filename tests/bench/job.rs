//! Job files to start from: an ordinary job, open in the middle of an addition, or closed.

use panbell::job::{ChainLink, Job, Record, seal};

/// A lot is weighed and fine silver is being added.
const OPEN: [&str; 6] = [
    r#""event":"open","format":1,"job":"NAME","bench":"bench","ticket":"K 1042","client":"client 7","target":"585 ppt","lowest":"585 ppt","highest":"590 ppt","risk":"0.025","u_mass_g":"0.00408249","colour":"yellow","use":"ring","division":"0.01 g","add":[{"metal":"fine-silver","name":"fine silver","gold":"0 ppt","u_ppt":"0","made_of":"Ag 1000","share":"1"}]"#,
    r#""event":"expect","what":"lot","fineness":"750 ppt","basis":"stamp","taken":"748.5 ppt","u_ppt":"0.866""#,
    r#""event":"base","base":"0.00 g""#,
    r#""event":"capture","what":"lot","fineness":"750 ppt","basis":"stamp","taken":"748.5 ppt","u_ppt":"0.866","mass":"62.46 g","gross":"62.46 g","base":"0.00 g","how":"settled","raw":"stable   62.46 g""#,
    r#""event":"expect","what":"addition","addition":1"#,
    r#""event":"base","base":"0.00 g""#,
];
const CLOSE: &str = r#""event":"close","lots":"62.46 g","melt":"79.66 g","gold":"46.8450 g","fineness_ppt":"588.06","warnings":["No button was weighed."]"#;
/// Readings at rest in a closed job: metal that was added spoon by spoon.
const SPOONS: u32 = 24;

/// The file of a job in the middle of an addition.
pub(crate) fn open(name: &str) -> String {
    sealed(name, OPEN.iter().map(ToString::to_string))
}

/// The file of a job that is closed.
pub(crate) fn closed(name: &str) -> String {
    let spoons = (1..=SPOONS).map(|spoon| {
        let mass = format!("{}.{:02} g", spoon * 70 / 100, spoon * 70 % 100);
        format!(r#""event":"reading","gross":"{mass}","net":"{mass}","raw":"stable {mass:>9}""#)
    });
    let open = OPEN.iter().map(ToString::to_string);
    sealed(name, open.chain(spoons).chain([CLOSE.to_owned()]))
}

fn sealed(name: &str, events: impl Iterator<Item = String>) -> String {
    let (mut text, mut last) = (String::new(), ChainLink::FIRST);
    for (event, n) in events.zip(1..) {
        let event = event.replace("NAME", name);
        let body = format!(r#"{{"n":{n},"at":"2026-01-05T09:12:44.120Z",{event}}}"#);
        let (line, next) = seal(&last, &body);
        text.push_str(&line);
        last = next;
    }
    text
}

/// The job in the middle of an addition, as the service would go on with it.
pub(crate) fn replayed() -> Job {
    let text = open("figures");
    let records = text
        .lines()
        .map(|line| Record::from_line(line.as_bytes()).unwrap());
    Job::replay((1..).zip(records)).unwrap()
}
