//! The descriptor rules: order, sizes, ranges, lists; and descriptors that are refused.

use panbell::balance::hid::{DescriptorFault, ScaleLayout};

use crate::maker::Part::{Padding, Scaling, Status, Unit, Weight};
use crate::maker::{USUAL, around, part, scale};

fn told(descriptor: &[u8], report: &[u8]) -> String {
    let layout = ScaleLayout::of(descriptor).unwrap();
    let reading = layout.read(report, None).unwrap().unwrap();
    let mass = reading.indication().map(|mass| mass.to_string());
    format!("{}: {}", reading.status.word(), mass.unwrap_or_default())
}

fn refused(descriptor: &[u8]) -> &'static str {
    let trouble = ScaleLayout::of(descriptor).unwrap_err().trouble();
    for text in [&trouble.happened, &trouble.means, &trouble.mend] {
        assert!(text.ends_with('.') && text.len() > 20, "{trouble}");
    }
    trouble.code
}

#[test]
fn order_and_bits_are_those_of_the_descriptor() {
    let order = [Weight, Padding(3), Scaling, Unit, Padding(5), Status];
    // 12.34 g, stable: the scaling begins at bit 19, the unit at bit 27, the status at bit 40.
    let bits = 0x04D2_u64 | (0xFE << 19) | (2 << 27) | (4 << 40);
    let report = bits.to_le_bytes();
    assert_eq!(told(&scale(None, &order), &report[..6]), "stable: 12.34 g");
}

#[test]
fn lists_count_from_the_lowest_value_and_may_be_written_out() {
    // The unit list begins at 0 with the carat, then the gram; the status has only two.
    let unit = [
        0x09, 0x54, 0x09, 0x52, 0x15, 0, 0x25, 1, 0x75, 4, 0x95, 1, 0x81, 0x00,
    ];
    let status = [
        0x09, 0x73, 0x09, 0x74, 0x15, 5, 0x25, 6, 0x75, 4, 0x95, 1, 0x81, 0x00,
    ];
    let inside = [&unit[..], &status, &part(Scaling), &part(Weight)].concat();
    let descriptor = around(None, &inside);
    assert_eq!(told(&descriptor, &[0x60, 0xFE, 1, 0]), "stable: 0.01 ct");
    assert_eq!(told(&descriptor, &[0x51, 0xFE, 1, 0]), "in motion: 0.01 g");
}

#[test]
fn usages_with_their_page_kept_states_and_a_signed_weight() {
    // The page in force is another; each usage brings its own in four bytes.
    let weight = [
        0x05, 0x01, 0x0B, 0x40, 0, 0x8D, 0, 0x16, 0, 0x80, 0x26, 0xFF, 0x7F, 0x75, 16, 0x95, 1,
        0x81, 2,
    ];
    let kept = [&[0xA4][..], &weight, &[0xB4]].concat();
    let inside = [&kept[..], &part(Status), &part(Unit), &part(Scaling)].concat();
    let report = [0xFE, 0xFF, 4, 2, 0xFF];
    assert_eq!(told(&around(None, &inside), &report), "stable: -0.2 g");
    // Under zero and signed already: not turned round.
    assert_eq!(
        told(&around(None, &inside), &[0xFE, 0xFF, 5, 2, 0xFF]),
        "under zero: -0.2 g"
    );
}

#[test]
fn numbers_of_one_list_stand_in_its_order() {
    // Two counts as a range, then weight and scaling as another, all of 16 bits with a sign.
    let numbers = [
        0x19, 0x60, 0x29, 0x61, 0x19, 0x40, 0x29, 0x41, 0x16, 0, 0x80, 0x26, 0xFF, 0x7F, 0x75, 16,
        0x95, 4, 0x81, 2,
    ];
    let inside = [&numbers[..], &part(Status), &part(Unit)].concat();
    let report = [9, 9, 8, 8, 0x39, 0x30, 0xFD, 0xFF, 4, 2];
    assert_eq!(told(&around(None, &inside), &report), "stable: 12.345 g");
}

#[test]
fn a_scaling_and_a_bound_declared_without_their_sign_are_still_meant() {
    let scaling = [
        0x09, 0x41, 0x15, 0, 0x26, 0xFF, 0, 0x75, 8, 0x95, 1, 0x81, 0x02,
    ];
    // 65535 in two bytes reads as -1; no bound is below its lower one.
    let weight = [
        0x09, 0x40, 0x15, 0, 0x26, 0xFF, 0xFF, 0x75, 16, 0x95, 1, 0x81, 0x02,
    ];
    let inside = [&part(Status)[..], &part(Unit), &scaling, &weight].concat();
    assert_eq!(
        told(&around(None, &inside), &[4, 2, 0xFD, 0xFF, 0xFF]),
        "stable: 65.535 g"
    );
}

#[test]
fn other_reports_of_the_device_are_passed_by() {
    let limit = [
        // Weight limit, report 5, sent as an input report, with a status: no weighing.
        &[0x09, 0x34, 0xA1, 0x02, 0x85, 5][..],
        &USUAL.iter().flat_map(|it| part(*it)).collect::<Vec<_>>(),
        &[0xC0],
    ]
    .concat();
    let buttons = [
        0x05, 0x09, 0x85, 6, 0x19, 1, 0x29, 8, 0x15, 0, 0x25, 1, 0x75, 1, 0x95, 8, 0x81, 2,
    ];
    let usual: Vec<u8> = USUAL.iter().flat_map(|it| part(*it)).collect();
    let inside = [&usual[..], &limit, &buttons].concat();
    let layout = ScaleLayout::of(&around(Some(3), &inside)).unwrap();
    assert_eq!(layout.read(&[5, 4, 2, 0, 1, 0], None), Ok(None));
    assert_eq!(layout.read(&[6, 0xFF], None), Ok(None));
    assert!(layout.read(&[3, 4, 2, 0, 1, 0], None).unwrap().is_some());
    assert_eq!(
        layout.to_string(),
        "reports of 6 bytes, number 3, in mg, g, kg, ct, tael, grain, dwt, ozt, oz, lb"
    );
}

#[test]
fn what_is_no_scale_or_lacks_a_part_is_told() {
    assert_eq!(refused(&[]), "scale-undescribed");
    assert_eq!(ScaleLayout::of(&[0; 4097]), Err(DescriptorFault::TooLong));
    assert_eq!(refused(&[0; 4097]), "scale-odd-description");
    // A mouse's first items.
    assert_eq!(refused(&[0x05, 1, 0x09, 2, 0xA1, 1, 0xC0]), "not-a-scale");
    for (left_out, name) in USUAL.iter().zip(["status", "unit", "scaling", "weight"]) {
        let kept: Vec<_> = USUAL.iter().filter(|it| *it != left_out).copied().collect();
        let fault = ScaleLayout::of(&scale(Some(3), &kept)).unwrap_err();
        assert_eq!(fault, DescriptorFault::Lacks(vec![name]));
        assert!(fault.trouble().happened.contains(name));
    }
    // Status and unit as plain numbers: what a number stands for would have to be supposed.
    let plain = |usage| {
        [
            0x09, usage, 0x15, 0, 0x26, 0xFF, 0, 0x75, 8, 0x95, 1, 0x81, 2,
        ]
    };
    let inside = [
        &plain(0x70)[..],
        &plain(0x50),
        &part(Scaling),
        &part(Weight),
    ]
    .concat();
    assert_eq!(
        ScaleLayout::of(&around(None, &inside)),
        Err(DescriptorFault::Lacks(vec!["status", "unit"]))
    );
}

#[test]
fn broken_descriptors_are_refused() {
    let usual = scale(Some(3), &USUAL);
    let twice = [USUAL, USUAL].concat();
    let two_weights = [0x09, 0x40, 0x15, 0, 0x25, 9, 0x75, 8, 0x95, 2, 0x81, 2];
    let deep = [0xA1, 0].repeat(17);
    for (what, descriptor) in [
        ("cut in an item", usual[..usual.len() - 6].to_vec()),
        ("not closed", usual[..usual.len() - 1].to_vec()),
        ("closed twice", [&usual[..], &[0xC0]].concat()),
        ("nested too deep", [&[0x05, 0x8D][..], &deep].concat()),
        ("kept too deep", [0xA4].repeat(17)),
        ("never kept", vec![0xB4]),
        ("number 0", scale(Some(0), &USUAL)),
        ("two of each", scale(None, &twice)),
        ("two weights", around(None, &two_weights)),
        (
            "numbered half-way",
            around(None, &[&part(Status)[..], &[0x85, 1], &part(Unit)].concat()),
        ),
        ("range backwards", around(None, &[0x19, 9, 0x29, 8])),
        ("range without a beginning", around(None, &[0x29, 8])),
        ("open choice of usages", around(None, &[0xA9, 1])),
        (
            "endless report",
            around(
                None,
                &[0x77, 255, 255, 255, 255, 0x97, 255, 255, 255, 255, 0x81, 1],
            ),
        ),
        (
            "weight without a range",
            around(None, &[0x09, 0x40, 0x75, 8, 0x95, 1, 0x81, 2]),
        ),
        (
            "weight too large",
            around(
                None,
                &[0x09, 0x40, 0x15, 0, 0x25, 9, 0x75, 33, 0x95, 1, 0x81, 2],
            ),
        ),
        (
            "a list without end",
            around(None, &[0x09, 0x40].repeat(257)),
        ),
    ] {
        let fault = ScaleLayout::of(&descriptor);
        assert!(
            matches!(fault, Err(DescriptorFault::Broken(_))),
            "{what}: {fault:?}"
        );
        assert_eq!(refused(&descriptor), "scale-odd-description");
    }
}
