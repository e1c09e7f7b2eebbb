//! A disk that is full in the middle of a job, and has room again.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use panbell::job::Record;

use crate::support::desk::{BENCH, Desk, g, shown};
use crate::support::home::{self, Home};
use crate::support::service;

/// A small file system on the book's folder, taken away when dropped.
struct Small(PathBuf);

impl Small {
    fn mount(folder: &Path) -> Option<Self> {
        fs::create_dir_all(folder).unwrap();
        Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=64k", "none"])
            .arg(folder)
            .stderr(std::process::Stdio::null())
            .status()
            .is_ok_and(|status| status.success())
            .then(|| Self(folder.to_owned()))
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        Command::new("umount").arg("-l").arg(&self.0).status().ok();
    }
}

/// A way to fill the disk, and to make room.
enum Way {
    /// A real one.
    Disk(Small),
    /// A limit on the size of files of that process.
    Limit,
}

impl Way {
    fn fill(&self, desk: &Desk) {
        match self {
            Self::Disk(small) => {
                let path = small.0.join("filler");
                let mut size = 64 * 1024;
                let mut bytes = Vec::new();
                // Down to the last byte.
                while size > 0 {
                    let mut more = bytes.clone();
                    more.resize(bytes.len() + size, 0);
                    if fs::write(&path, &more).is_ok() {
                        bytes = more;
                    } else {
                        fs::write(&path, &bytes).unwrap();
                        size /= 2;
                    }
                }
            }
            Self::Limit => {
                let size = fs::metadata(desk.home.job_path("T-1")).unwrap().len();
                limit(desk, &(size + 20).to_string());
            }
        }
    }

    fn make_room(&self, desk: &Desk) {
        match self {
            Self::Disk(small) => fs::remove_file(small.0.join("filler")).unwrap(),
            Self::Limit => limit(desk, "unlimited"),
        }
    }
}

/// Limits the size of the files that the service writes, by a tool of util-linux.
fn limit(desk: &Desk, bytes: &str) {
    let status = Command::new("prlimit")
        .arg(format!("--pid={}", desk.service.pid()))
        .arg(format!("--fsize={bytes}:unlimited"))
        .status();
    assert!(status.expect("prlimit is part of util-linux").success());
}

fn on_a_full_disk(way: impl FnOnce(&Home) -> Way) {
    let mut chosen = None;
    let desk = Desk::set(|home| {
        let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
        home.settings(&format!("{}{bench}", home::NO_DESKTOP));
        let way = chosen.insert(way(home));
        match way {
            Way::Disk(_) => service::command(home.path()),
            Way::Limit => {
                // The signal that goes with the limit is ignored, so that the write itself fails.
                let mut shell = Command::new("sh");
                shell
                    .args(["-c", "trap '' XFSZ; exec \"$0\" --home \"$1\" run"])
                    .arg(service::PANBELL)
                    .arg(home.path());
                service::cut_off(&mut shell, home.path());
                shell
            }
        }
    });
    let way = chosen.unwrap();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "20.00");
    let window = desk.add(&[]);
    // What is noted between may be what does not fit any more.
    let mark = desk.follower.mark();
    way.fill(&desk);
    // Readings that change fill what is left of the last block, if anything is.
    for step in 1..=40 {
        desk.place(g("0.03").times(step));
        desk.at_rest(&shown(g("0.03").times(step)));
        if desk.view()["hold"]["cause"] == "disk" {
            break;
        }
    }
    let bell = desk.follower.bell(mark, "hold");
    assert_eq!(desk.view()["hold"]["cause"], "disk", "{bell}");
    desk.say(&["withdraw"]).is_refused("cannot be written now");
    desk.say(&["take"]).is_refused("cannot be written now");
    // Within the window for long: nothing is captured that could not be kept.
    desk.place(window.aim);
    desk.at_rest(&shown(window.aim));
    desk.follower.readings(desk.follower.mark(), 60);
    assert!(
        !desk
            .follower
            .bells_since(mark)
            .contains(&"recorded".to_owned())
    );
    assert_eq!(desk.home.masses("T-1"), ["20.00 g"]);

    way.make_room(&desk);
    desk.follower.bell(mark, "resumed");
    desk.follower.bell(mark, "recorded");
    assert_eq!(
        desk.home.masses("T-1"),
        ["20.00 g".to_owned(), shown(window.aim)]
    );
    let mark = desk.follower.mark();
    desk.close_as_it_is();
    desk.follower.bell(mark, "done");
    let records = desk.home.records("T-1");
    assert!(
        records
            .iter()
            .any(|(_, record)| matches!(record, Record::Resume { .. }))
    );
    desk.verify();
    drop(desk);
}

#[test]
fn a_full_disk_holds_the_bench_until_there_is_room() {
    on_a_full_disk(|home| {
        if let Some(disk) = Small::mount(&home.path().join("book")) {
            return Way::Disk(disk);
        }
        service::loud("a small disk cannot be mounted here; a limit on file size stands in");
        Way::Limit
    });
}

#[test]
fn a_limit_on_file_size_holds_the_bench_until_it_is_lifted() {
    on_a_full_disk(|_| Way::Limit);
}
