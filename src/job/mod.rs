//! The job: a state machine from orders and readings to records and bells.
//!
//! Promises: [`step()`] is total and pure - no clock, no file, no panic; nothing is captured while
//! the bench holds or in a unit that is not proven; nothing counts before its record is on disk;
//! the job is the fold of its records, so any job file can be replayed. Leaves to others: where
//! events come from and how effects are carried out.

mod actions;
mod asks;
mod bell;
mod chain;
mod check;
mod checking;
mod fold;
mod hearing;
mod hold;
mod keep;
mod loose;
mod metals;
mod needs;
mod on_pan;
mod order;
mod orders;
mod prove;
mod recipes;
mod record;
mod remedy;
mod scan;
mod state;
mod statement;
mod step;
mod terms;
mod watch;
mod weigh;
pub mod words;
mod written;

pub use actions::{Action, Way};
pub use asks::Asked;
pub use bell::{BellKind, Ring};
pub use chain::{ChainLink, seal, unseal};
pub use check::{CheckEntry, CheckVerdict, Checked, LastCheck, UnitBy};
pub use fold::{Adding, Expected, Job, UnitDoubt, UnitProof, Weighed};
pub use hold::{Cause, Hold, Holds};
pub use on_pan::Loose;
pub use order::{Done, Effect, Event, Order};
pub use recipes::{Recipe, recipes};
pub use record::{
    AddedMetal, Assayed, Captured, Closed, FORMAT, How, Opened, PanAnswer, Raw, Record, Water,
    WaterWay, What,
};
pub use scan::{Damage, Scan, Verdict, check_line, last_line, scan};
pub use state::{BenchRules, PanQuestion, Sends, State};
pub use statement::statement;
pub use step::step;
pub use terms::{Mark, OrderId, Terms};
pub use watch::{Watch, Zone};
