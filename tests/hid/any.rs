//! Any bytes, and any order of the parts.

use panbell::balance::hid::ScaleLayout;
use panbell::mass::Status;
use proptest::prelude::*;

use crate::maker::Part::{self, Padding, Scaling, Unit, Weight};
use crate::maker::{USUAL, scale};

fn some_bytes(most: usize) -> impl Strategy<Value = Vec<u8>> {
    proptest::collection::vec(any::<u8>(), 0..most)
}

/// The parts in any order with padding anywhere.
fn parts() -> impl Strategy<Value = Vec<Part>> {
    let padding = proptest::collection::vec((1_u8..=32).prop_map(Padding), 0..4);
    padding.prop_flat_map(|padding| Just([&USUAL[..], &padding].concat()).prop_shuffle())
}

proptest! {
    #[test]
    fn no_bytes_panic(descriptor in some_bytes(200), report in some_bytes(40)) {
        if let Ok(layout) = ScaleLayout::of(&descriptor) {
            let _either = layout.read(&report, None);
        }
    }

    #[test]
    fn a_scale_with_bytes_changed_never_panics_nor_reads_outside(
        parts in parts(),
        id in proptest::option::of(1_u8..=255),
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        report in some_bytes(40),
    ) {
        let mut descriptor = scale(id, &parts);
        for (at, byte) in changes {
            let at = at.index(descriptor.len());
            descriptor[at] = byte;
        }
        if let Ok(layout) = ScaleLayout::of(&descriptor) {
            prop_assert!(layout.longest_report() <= 4096);
            prop_assert!(layout.to_string().len() < 10_000);
            if let Ok(Some(_)) = layout.read(&report, None) {
                prop_assert!(!report.is_empty());
            }
        }
    }

    #[test]
    fn any_order_reads_what_was_sent(
        parts in parts(),
        id in proptest::option::of(1_u8..=255),
        weight: u16,
        scaling in -7_i8..=0,
        noise: u64,
    ) {
        // Sent bit by bit, lowest first: another way than the one that reads.
        let mut bits: Vec<bool> = Vec::new();
        let mut noise = noise;
        for part in &parts {
            let (value, size) = match part {
                Part::Status => (4, 8),
                Unit => (2, 8),
                Scaling => (u64::from(scaling.to_le_bytes()[0]), 8),
                Weight => (u64::from(weight), 16),
                Padding(size) => {
                    noise = noise.rotate_left(7);
                    (noise, *size)
                }
            };
            bits.extend((0..size).map(|at| value >> at & 1 == 1));
        }
        let mut report: Vec<u8> = id.into_iter().collect();
        for byte in bits.chunks(8) {
            report.push(byte.iter().rev().fold(0, |whole, bit| whole << 1 | u8::from(*bit)));
        }
        let layout = ScaleLayout::of(&scale(id, &parts)).unwrap();
        prop_assert_eq!(layout.longest_report(), report.len());
        let reading = layout.read(&report, None).unwrap().unwrap();
        prop_assert_eq!(reading.status, Status::Stable);
        let decimals = u32::from(scaling.unsigned_abs());
        let digits = rust_decimal::Decimal::new(i64::from(weight), decimals);
        prop_assert_eq!(reading.indication().unwrap().to_string(), format!("{digits} g"));
    }
}
