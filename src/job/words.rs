//! The sentences that a bench says.

use super::fold::{Adding, Job, Weighed};
use super::loose::LooseNow;
use super::on_pan::Loose;
use super::record::{WaterWay, What};
use super::remedy::Remedy;
use super::state::BenchRules;
use crate::mass::{Division, Indication, Mass, Status, Unit};
use crate::melt::{Loss, PastMelt, Side, UsualLoss};
use crate::metal::{Asked, Composition, Fineness, Metal, warnings};

/// What a weighing is of, in words: `lot 2 (750 ‰ by stamp)`, `copper`, `the button`. Where a vessel
/// of water stands on the pan, the balance shows water and no metal.
pub fn of(job: &Job, what: &What) -> String {
    match what {
        What::Lot {
            fineness, basis, ..
        } => format!("lot {} ({fineness} by {basis})", job.lots().count() + 1),
        What::Addition { addition } => metal_name(job, *addition),
        What::Button => "the button".to_owned(),
        What::InWater(water) => match water.way {
            WaterWay::Hung => "the button in water".to_owned(),
            WaterWay::Displaced => "the water that the button pushes aside".to_owned(),
        },
    }
}

/// What the hands do to weigh something, without the point at its end.
pub fn how_to_load(job: &Job, what: &What) -> String {
    match what {
        What::InWater(water) => match water.way {
            WaterWay::Hung => {
                "Hang the button from the balance into the water, touching neither wall nor bottom"
                    .to_owned()
            }
            WaterWay::Displaced => {
                "Hang the button by a thread into the water on the pan, touching neither wall nor bottom".to_owned()
            }
        },
        _ => format!("Put {} on the pan", of(job, what)),
    }
}

/// The same of what was set aside: a lot has no place any more.
pub fn of_withdrawn(job: &Job, what: &What) -> String {
    match what {
        What::Lot {
            fineness, basis, ..
        } => format!("a lot of {fineness} by {basis}"),
        _ => of(job, what),
    }
}

/// The name of an addition's metal.
pub fn metal_name(job: &Job, addition: usize) -> String {
    job.metal(addition).map_or_else(
        || format!("addition {addition}"),
        |metal| metal.name.clone(),
    )
}

/// A mass as the job's balance would show it.
pub fn shown(job: &Job, mass: Mass) -> Indication {
    job.opened.division.show(mass)
}

/// The unit spelled out: `12.46 grams`.
pub fn spelled(mass: Indication) -> String {
    format!("{} {}", mass.digits(), mass.unit().name())
}

/// Metal that lies with a recorded load and is in no record: what is so, and what to do.
pub(super) fn loose(job: &Job, loose: &LooseNow) -> (String, String) {
    let load = job.weighed.iter().find(|weighed| weighed.n == loose.beside);
    let name = load.map_or_else(
        || "the last load".to_owned(),
        |weighed| of_recorded(job, weighed),
    );
    let mass = spelled(shown(job, loose.mass.mass().abs()));
    if loose.mass.mass() < Mass::ZERO {
        return (
            format!("{mass} less lie on the pan than were recorded of {name}."),
            format!(
                "Put them back, or record {name} as the {} that lie there now.",
                spelled(loose.whole)
            ),
        );
    }
    (
        format!("{mass} more lie on the pan than were recorded of {name}."),
        format!(
            "Record {name} as the {} that lie there now, or take the {mass} off.",
            spelled(loose.whole)
        ),
    )
}

/// The same of metal that was told before, whether it still lies there or not.
pub(super) fn was_loose(job: &Job, loose: &Loose) -> String {
    let load = job.weighed.iter().find(|weighed| weighed.n == loose.beside);
    let name = load.map_or_else(
        || "the last load".to_owned(),
        |weighed| of_recorded(job, weighed),
    );
    let mass = spelled(shown(job, loose.mass.mass().abs()));
    if loose.mass.mass() < Mass::ZERO {
        format!("{mass} were taken off {name} after it was recorded, and are in no record.")
    } else {
        format!("{mass} lay on the pan beside {name} after it was recorded, and are in no record.")
    }
}

/// What a capture that counts is of: a lot by its place, an addition by its metal.
pub(super) fn of_recorded(job: &Job, weighed: &Weighed) -> String {
    match &weighed.captured.what {
        What::Lot { .. } => {
            let place = job.lots().position(|(lot, _)| lot.n == weighed.n);
            place.map_or_else(
                || of_withdrawn(job, &weighed.captured.what),
                |place| format!("lot {}", place + 1),
            )
        }
        what => of(job, what),
    }
}

/// How far an addition has to go, or what it makes of the melt.
pub fn standing(job: &Job, adding: &Adding, net: Mass, rules: &BenchRules) -> String {
    let name = metal_name(job, adding.addition);
    let window = &adding.window;
    let spelled = |mass| spelled(shown(job, mass));
    match window.side(net) {
        Side::Under => format!("Add {} more of {name}.", spelled(window.aim - net)),
        Side::Within if !net.is_positive() => format!(
            "No {name} need be added: the melt is within its window without it. At most {} may be. Plan on without it, or weigh out a little.",
            spelled(window.upper)
        ),
        Side::Within => {
            let melt = adding.melt_with(net);
            let fineness = melt.fineness().unwrap_or(Fineness::NONE);
            let chance = melt.chance_text(job.opened.lowest);
            let others = job.to_come().iter().any(|at| *at != adding.addition);
            let with = if others { "with what is to come " } else { "" };
            format!(
                "{} of {name} {with}makes the melt {fineness}, within the window (lawful with {chance}). Hands off: it is recorded when at rest.",
                spelled(net)
            )
        }
        Side::Over => {
            format!(
                "{} too much of {name}: {}",
                spelled(net - window.upper),
                way_back(job, adding, net, rules)
            )
        }
    }
}

/// What an overshoot means and what would put it right.
pub fn way_back(job: &Job, adding: &Adding, net: Mass, rules: &BenchRules) -> String {
    let melt = adding.melt_with(net);
    let demand = job.demand();
    let fineness = melt.fineness().unwrap_or(Fineness::NONE);
    let against = if !melt.is_at_least(demand.lowest) {
        format!(", below {}", demand.lowest)
    } else if !melt.is_at_most(demand.highest) {
        format!(", above the give-away limit {}", demand.highest)
    } else {
        String::new()
    };
    let mend = match job.plan_after(adding.addition, net) {
        Some(plan) => format!("or take it and the rest follows: {}", listed(job, &plan)),
        None => {
            // What is still planned is left out: it could only make the overshoot worse.
            let as_it_is = metal_of(job, adding).map_or(melt, |gold| job.so_far().with(net, gold));
            let remedy = Remedy::of(job, &as_it_is, rules);
            let with = match remedy.metals() {
                Some(metals) => format!("or put it right with {metals}"),
                None => "or take it and choose the way back with the shelf at hand".to_owned(),
            };
            match remedy.mark() {
                Some(mark) => format!("{with}, or take it for the lower mark {mark}"),
                None => with,
            }
        }
    };
    format!("the melt would be {fineness}{against}. Take a little off, {mend}.")
}

/// What stands against the metals of a job: nickel, cadmium, lead, alloys outside their karats or
/// uses, a colour that drifts. Of every addition, what was weighed or else what is planned.
pub fn cautions(job: &Job, rules: &BenchRules) -> Vec<String> {
    let plan = job.plan().unwrap_or_default();
    let planned = |addition: usize| {
        plan.iter()
            .find(|(at, _)| *at == addition)
            .map(|(_, mass)| *mass)
    };
    let mut parts = Vec::new();
    let mut metals: Vec<(Metal, Mass)> = Vec::new();
    for (at, added) in (1..).zip(&job.opened.add) {
        if at <= job.dropped && job.added(at).is_none() {
            continue;
        }
        let mass = job
            .added(at)
            .map(Indication::mass)
            .or_else(|| planned(at))
            .unwrap_or_default();
        parts.push((mass, added.made_of.clone()));
        if let Ok(metal) = rules.shelf.find(&added.metal) {
            metals.push((metal, mass));
        }
    }
    for (weighed, gold) in job.lots() {
        parts.push((weighed.captured.mass.mass(), Composition::of_gold(gold)));
    }
    let asked = Asked {
        target: job.opened.target,
        colour: job.opened.colour,
        purpose: job.opened.purpose,
    };
    let metals: Vec<(&Metal, Mass)> = metals.iter().map(|(metal, mass)| (metal, *mass)).collect();
    // Before anything is weighed, the metals to add speak for themselves, in equal parts.
    let made_of = Composition::mixed(parts.iter().map(|(mass, made_of)| (*mass, made_of)));
    let alone = || {
        Composition::mixed(
            parts
                .iter()
                .map(|(_, made_of)| (job.opened.division.mass(), made_of)),
        )
    };
    let whose = match made_of {
        Some(_) => "The melt",
        None => "What is to be added",
    };
    let Some(made_of) = made_of.or_else(alone) else {
        return Vec::new();
    };
    warnings(&made_of, &metals, asked)
        .iter()
        .filter(|warning| !warning.is_of_what_is_not_known())
        .map(|warning| {
            let told = warning.told();
            let happened = told.happened.replacen("The melt", whose, 1);
            format!("{happened} {}", told.means)
        })
        .collect()
}

fn metal_of(job: &Job, adding: &Adding) -> Option<Fineness> {
    job.metal(adding.addition).map(|metal| metal.gold)
}

/// The lots as they stand, seen against the target.
pub fn lots_so_far(job: &Job) -> String {
    let metal = job.client_metal();
    let Some(fineness) = metal.fineness() else {
        return "Nothing is weighed yet.".to_owned();
    };
    let lots = format!("The lots make {} of {fineness}.", shown(job, metal.mass()));
    match to_come(job) {
        ahead if ahead.is_empty() => lots,
        ahead => format!("{lots} {ahead}"),
    }
}

/// The additions still to come, by exact mass balance from what was weighed.
pub fn to_come(job: &Job) -> String {
    match job.plan() {
        Some(plan) if !plan.is_empty() => format!("To come: {}.", listed(job, &plan)),
        _ if job.to_come().is_empty() => String::new(),
        _ => format!(
            "No mass of the metals planned brings this to {}.",
            job.opened.target
        ),
    }
}

fn listed(job: &Job, plan: &[(usize, Mass)]) -> String {
    let each: Vec<String> = plan
        .iter()
        .map(|(at, mass)| format!("{} of {}", shown(job, *mass), metal_name(job, *at)))
        .collect();
    each.join(", ")
}

/// The loss and what it may mean.
pub fn loss(job: &Job, button: Mass, past: &[PastMelt]) -> String {
    let melt = job.melt();
    let Some(loss) = Loss::of(&melt, button) else {
        return "Nothing was melted by this book.".to_owned();
    };
    let what = format!(
        "In the melt {}, the button {}.",
        shown(job, melt.mass()),
        shown(job, button)
    );
    if loss.is_gain() {
        return format!(
            "{what} It weighs {} more than what went in: metal went in that was not weighed, it is another button, or flux and crucible glass are on it. Clean it and weigh it again; if it stays so, the reckoned fineness does not hold: have it assayed before it is marked.",
            shown(job, loss.mass.abs())
        );
    }
    let melted = PastMelt {
        went_in: melt.mass(),
        button,
    };
    let usual = UsualLoss::of(past).and_then(|usual| usual.judge(melted, job.opened.division));
    let usual = usual.map_or_else(String::new, |judged| format!(" {}", judged.sentence()));
    format!(
        "{what} Lost {} ({} ‰). If it was all base metal the button is {}; if the alloy as it stands, {}; if all gold, {}.{usual}",
        shown(job, loss.mass),
        loss.ppt,
        loss.all_base,
        loss.as_it_stands,
        loss.all_gold
    )
}

/// A conflict of units: why, and what to do.
pub fn unit_conflict(seen: Option<Unit>, bench: Unit) -> (String, String) {
    let mend = format!(
        "Set the balance back to {}; the bench goes on by itself.",
        bench.name()
    );
    match seen {
        Some(seen) => (
            format!(
                "The balance shows {}, this bench weighs in {}.",
                seen.name(),
                bench.name()
            ),
            mend,
        ),
        None => (
            format!(
                "The balance shows a unit that nothing says the size of, this bench weighs in {}.",
                bench.name()
            ),
            format!(
                "{mend} If that unit is meant, say what it is: its symbol in the balance file, or whose tael a USB scale shows in the settings."
            ),
        ),
    }
}

/// A conflict of units that the numbers of a balance which sends no unit gave away: why, and what
/// to do.
pub fn unit_jump(seen: Option<Unit>, bench: Unit) -> (String, String) {
    let into = seen.map_or_else(
        || "another mode or unit".to_owned(),
        |seen| seen.name().to_owned(),
    );
    (
        format!(
            "The balance sends no unit, and its numbers are those of a change between {} and {into}.",
            bench.name()
        ),
        format!(
            "See that it is set to {}, then show it the check weight.",
            bench.name()
        ),
    )
}

/// The pan went light in the middle: the question.
pub fn pan_question(job: Option<&Job>, rest: Mass, division: Division) -> (String, String) {
    let was = division.show(rest);
    let mend = if was.mass() == Mass::ZERO {
        "Put back what was taken off; or let the pan rest with no metal to be weighed on it, and count from there."
    } else {
        "Put the dish back as it was, or say which it was: lifted and back, tared, or count anew from what is there."
    };
    let metal = job.and_then(|job| {
        job.expected
            .as_ref()
            .map(|expected| of(job, &expected.what))
    });
    (
        format!(
            "The pan went light with {was} of {} on it: was the dish lifted, or the balance's tare key pressed?",
            metal.unwrap_or_else(|| "metal".to_owned())
        ),
        mend.to_owned(),
    )
}

/// What is asked of something that came to rest on a pan which was not at rest at the order: why,
/// and what to do.
pub fn base_question(doubted: Indication, name: &str) -> (String, String) {
    if doubted.mass() < Mass::ZERO {
        return (
            format!(
                "The balance shows less than nothing, {doubted}: a dish that was tared has been lifted. None of it is counted."
            ),
            format!(
                "Put the dish back, or zero the balance; if {name} is to be counted from there, count from it."
            ),
        );
    }
    (
        format!(
            "{} came to rest on a pan that was not at rest when {name} was ordered, so it may be metal that belongs to it. None of it is counted.",
            spelled(doubted)
        ),
        "Take it off; the weighing begins when the pan is as it was before. If it is a vessel, or is to stay there uncounted, count from it.".to_owned(),
    )
}

/// What is told while gaps in what is heard keep a pan from rest.
pub const HEARD_WITH_GAPS: &str = "The balance is heard with gaps, and what is not heard is no rest, so nothing is recorded now. Hands off; if it lasts, see that nothing else uses the port or the computer, and that the balance sends evenly, or have it asked: [ask] in its balance file.";

/// The last load is gone, and the pan is not as it was before it: the question.
pub fn not_emptied(before: Indication) -> (String, String) {
    (
        format!(
            "The last load is off, but the pan does not rest at the {before} that it was counted from."
        ),
        "Put back what else was taken off; or let the next load count from what is there now."
            .to_owned(),
    )
}

/// What a weighing counts from may be of another unit: the question.
pub fn base_doubted() -> (String, String) {
    (
        "What this weighing counts from was read before the balance was seen in another unit or mode."
            .to_owned(),
        "Take off what was put on for it, let the pan rest, then begin it anew."
            .to_owned(),
    )
}

/// A balance of which it is not proven how it shows what is below zero: why it holds, and what to do.
pub fn sign_unproven() -> (&'static str, &'static str) {
    (
        "It is not proven whether what the balance shows is above or below zero, so nothing is captured.",
        "Learn the balance once more and let it show a minus: learning asks for it. If its manual says how it writes a minus, write that into the balance file and take the line minus = \"not proven\" out.",
    )
}

/// What the balance says of itself when it cannot weigh: why, and what to do.
pub fn balance(status: Status) -> (&'static str, &'static str) {
    match status {
        Status::OverLimit => (
            "The balance says that the load is over its limit.",
            "Take the load off.",
        ),
        Status::UnderZero => (
            "The balance says that it is under zero.",
            "Put the dish back, or zero the balance with its own key while nothing is being weighed.",
        ),
        Status::RequiresCalibration => (
            "The balance asks to be calibrated.",
            "Calibrate it as its booklet says, then go on.",
        ),
        Status::RequiresReZeroing => (
            "The balance asks to be zeroed again.",
            "Empty the pan and zero it with its own key.",
        ),
        _ => (
            "The balance reports a fault.",
            "Switch it off and on; if the fault stays, have it seen to.",
        ),
    }
}
