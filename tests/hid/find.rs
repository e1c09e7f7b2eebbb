//! Scales found in a tree like the kernel's, and names that lead to no scale.

use std::fs;
use std::path::Path;

use panbell::port::{ScalePort, hid_scales};

use crate::maker::{USUAL, scale};

fn device(sys: &Path, number: u32, uevent: &str, descriptor: Option<&[u8]>) {
    let folder = sys.join(format!("class/hidraw/hidraw{number}/device"));
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join("uevent"), uevent).unwrap();
    if let Some(bytes) = descriptor {
        fs::write(folder.join("report_descriptor"), bytes).unwrap();
    }
}

#[test]
fn scales_are_found_and_other_devices_are_not() {
    let sys = tempfile::tempdir().unwrap();
    assert_eq!(hid_scales(sys.path()), []);
    let mouse = [0x05, 1, 0x09, 2, 0xA1, 1, 0xC0];
    device(sys.path(), 0, "HID_NAME=A mouse\n", Some(&mouse));
    device(
        sys.path(),
        10,
        "HID_NAME=Bench \u{1b}[31mscale\nHID_UNIQ=S-1\n",
        Some(&scale(Some(3), &USUAL)),
    );
    device(
        sys.path(),
        2,
        "HID_UNIQ=\n",
        Some(&scale(None, &USUAL[..3])),
    );
    device(sys.path(), 3, "HID_NAME=Nothing\n", None);
    let found = hid_scales(sys.path());
    let nodes: Vec<_> = found.iter().map(|it| it.node.to_str().unwrap()).collect();
    assert_eq!(nodes, ["/dev/hidraw2", "/dev/hidraw10"]);
    assert_eq!(
        (found[0].name.as_str(), &found[0].serial),
        ("a USB scale", &None)
    );
    assert_eq!(found[0].described.as_ref().unwrap_err().code, "scale-lacks");
    assert_eq!(
        found[1].name, "Bench [31mscale",
        "nothing that moves a terminal"
    );
    assert_eq!(found[1].serial.as_deref(), Some("S-1"));
    assert!(found[1].described.as_ref().unwrap().contains("number 3"));
}

#[test]
fn what_is_no_scale_is_not_opened_and_told() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    fs::write(&file, "").unwrap();
    let pipe = folder.path().join("pipe");
    rustix::fs::mkfifoat(rustix::fs::CWD, &pipe, rustix::fs::Mode::RWXU).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let code = |path: &Path| ScalePort::open(path).unwrap_err().trouble().code;
        assert_eq!(code(&folder.path().join("nothing")), "port-absent");
        assert_eq!(code(&file), "port-no-scale");
        assert_eq!(code(Path::new("/dev/null")), "port-no-scale");
        assert_eq!(code(Path::new("/dev/ptmx")), "port-no-scale");
        assert_eq!(code(&pipe), "scale-undescribed");
        let beside = folder.path().join("pipe.report_descriptor");
        fs::write(&beside, vec![0; 100_000]).unwrap();
        assert_eq!(code(&pipe), "scale-odd-description");
        fs::write(&beside, scale(Some(3), &USUAL)).unwrap();
        let port = ScalePort::open(&pipe).unwrap();
        assert_eq!(port.layout().longest_report(), 6);
    });
    let outside = ScalePort::open(&pipe).unwrap_err().trouble();
    assert_eq!(outside.code, "port-failed", "{outside}");
}
