//! Every limit of the bells in one table, each with its reason. Promises nothing else.

use std::time::Duration;

/// How long a notification service may take to answer before the person is told, in the log and
/// in the state, that it does not. An idle desktop answers within some milliseconds, a busy one
/// within a few hundred.
pub(super) const ANSWER: Duration = Duration::from_secs(2);

/// How long a call that missed [`ANSWER`] is still listened to before it is given up. A desktop
/// that was busy often wakes within this time and then shows the notice, late. If nobody
/// listened any more, nobody would know the number of that notice, it could never be replaced,
/// and an `over` long past would stand on the screen for good. Nothing waits meanwhile but the
/// box, which keeps only what is news.
pub(super) const GIVE_UP: Duration = Duration::from_secs(10);

/// The first pause after a ring that could not be shown; it doubles with each further failure.
pub(super) const PAUSE_FIRST: Duration = Duration::from_secs(1);

/// The longest pause. A machine without a desktop pays one refused connection a minute.
pub(super) const PAUSE_LONGEST: Duration = Duration::from_mins(1);

/// How long the last rings may still take when the service ends. The same as [`ANSWER`]: one
/// ordinary notice gets through, a dead desktop does not hold the end up.
pub(super) const FINISH: Duration = ANSWER;

/// How long a notice of an ordinary kind asks to stay, in milliseconds: time enough to look up
/// from the pan and read two sentences. A critical one stays until it is replaced or put away.
pub(super) const STAY_MS: u32 = 10_000;

/// How many connections are kept open only because a notice was first made over them (see
/// `desktop.rs`): one socket each. They add up only as the person puts notices away one by one.
pub(super) const KEPT: usize = 16;

/// Longest title, in characters. Desktops cut at one line anyway.
pub(super) const TITLE: usize = 120;

/// Longest text, in characters. Two sentences need a third of it.
pub(super) const TEXT: usize = 600;

/// How long a notice asks to stay that is to be read at leisure, in milliseconds, and the longest
/// text of one: the person pressed a button for it, and stands before the screen.
pub(super) const STAY_LONG_MS: u32 = 60_000;
/// See [`STAY_LONG_MS`].
pub(super) const TEXT_LONG: usize = 2_000;

/// The least time between two notices of a bench of which only the progress differs: twice a second
/// is as often as a bar is looked at.
pub(super) const PROGRESS: Duration = Duration::from_millis(500);

/// How long what was pressed may take: an order has fifteen seconds.
pub(super) const PRESS: Duration = Duration::from_secs(20);

/// Presses and answers that may wait to be looked at. A person presses one at a time.
pub(super) const HEARD: usize = 16;
