//! The bench page in a real browser: headless Chromium, driven by the W3C `WebDriver` protocol, on the real service with
//! the pretend balance on a pseudo-terminal. Every wait has a limit. The pictures of each state are left in
//! target/tmp/page.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

#[path = "support/python.rs"]
mod python;
#[path = "support/mod.rs"]
mod support;

#[path = "sound/ear.rs"]
#[allow(dead_code)] // the rest is for files
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)]
mod ear;

#[path = "page/driver.rs"]
mod driver;
#[path = "page/fits.rs"]
mod fits;
#[path = "page/follows.rs"]
mod follows;
#[path = "page/keys.rs"]
mod keys;
#[path = "page/line.rs"]
mod line;
#[path = "page/looks.rs"]
mod looks;
#[path = "page/lost.rs"]
mod lost;
#[path = "page/orders.rs"]
mod orders;
#[path = "page/proxy.rs"]
mod proxy;
#[path = "page/rules.rs"]
mod rules;
#[path = "page/sound.rs"]
mod sound;
#[path = "page/stage.rs"]
mod stage;
#[path = "page/walk.rs"]
mod walk;
#[path = "page/whole_job.rs"]
mod whole_job;
