//! Damage on the wire: every line of every shipped shape with each byte of it lost, doubled, in
//! its neighbour's place, or with each bit of it flipped.

use std::collections::BTreeSet;

use panbell::balance::Layout;
use panbell::mass::{Shown, Status};
use panbell::port::{SHAPES, Showing};
use panbell::settings::{BalanceFile, SHIPPED_BALANCES};

use super::{read_by, shipped, showings};

/// What happened to one byte of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Damage {
    Lost,
    Doubled,
    /// It and the next one changed places.
    Swapped,
    /// One bit of it.
    Flipped,
}

/// What a shape may let pass as another mass: nothing but what its file says. All count their
/// places; without a check byte, digits that arrive as other digits are another number, and no sum
/// over the bytes of a line tells that two of them changed places.
fn unseen(name: &str) -> &'static [Damage] {
    match name {
        "stx-check" => &[Damage::Swapped],
        _ => &[Damage::Swapped, Damage::Flipped],
    }
}

/// Every way to damage one byte, with the bytes that were touched as they were and as they became.
fn damages(wire: &[u8]) -> Vec<(Damage, Vec<u8>, Vec<u8>)> {
    let mut all = Vec::new();
    for at in 0..wire.len() {
        let mut lost = wire.to_vec();
        lost.remove(at);
        all.push((Damage::Lost, lost, vec![wire[at]]));
        let mut doubled = wire.to_vec();
        doubled.insert(at, wire[at]);
        all.push((Damage::Doubled, doubled, vec![wire[at]]));
        if wire.get(at + 1).is_some_and(|next| *next != wire[at]) {
            let mut swapped = wire.to_vec();
            swapped.swap(at, at + 1);
            all.push((Damage::Swapped, swapped, wire[at..at + 2].to_vec()));
        }
        for bit in 0..8 {
            let mut flipped = wire.to_vec();
            flipped[at] ^= 1 << bit;
            let touched = vec![wire[at], flipped[at]];
            all.push((Damage::Flipped, flipped, touched));
        }
    }
    all
}

/// A shipped shape, ready to read.
struct Reader {
    file: BalanceFile,
    layout: Layout,
}

impl Reader {
    fn new(name: &str) -> Self {
        let file = shipped(name);
        let layout = Layout::compile(&file.layout).unwrap();
        Self { file, layout }
    }

    /// Whether a damaged line is taken for what the balance did not show: another mass in its unit,
    /// or a pan at rest that was in motion.
    fn is_taken_wrong(&mut self, showing: &Showing, wire: &[u8]) -> bool {
        let says_motion = !self.file.layout.statuses.is_empty();
        let readings = read_by(&mut self.layout, self.file.frame, wire, wire.len());
        readings.into_iter().flatten().any(|reading| {
            let digits = match reading.shown {
                Shown::Weighed(mass) if mass.unit() == showing.unit => mass.digits(),
                Shown::UnitUnstated(digits) if self.file.layout.units.is_empty() => digits,
                _ => return false,
            };
            let another = digits.to_string() != showing.digits.to_string();
            reading.status != Status::InMotion && (another || (showing.moving && says_motion))
        })
    }
}

#[test]
fn no_damaged_byte_makes_another_mass_but_where_the_file_says_so() {
    let is_of_a_number = |byte: &u8| byte.is_ascii_digit() || b".,'+- ".contains(byte);
    for (name, shape) in SHAPES {
        let mut seen = BTreeSet::new();
        let (mut reader, mut tried) = (Reader::new(name), 0);
        // Units that are a letter away from each other, and a long one.
        let units = ["g", "kg", "ozt", "tael-hk"];
        for showing in showings().filter(|it| units.contains(&it.unit.symbol())) {
            let good = shape(&showing);
            for (damage, alone, touched) in damages(&good) {
                // Alone, and with the next line behind it.
                let followed = [alone.as_slice(), &good].concat();
                for wire in [&alone, &followed] {
                    tried += 1;
                    if !reader.is_taken_wrong(&showing, wire) {
                        continue;
                    }
                    let text = wire.escape_ascii();
                    assert!(unseen(name).contains(&damage), "{name}: {damage:?}: {text}");
                    assert!(touched.iter().all(is_of_a_number), "{name}: {text}");
                    seen.insert(damage);
                }
            }
        }
        assert!(tried > 10_000, "{name}: {tried}");
        let seen: Vec<Damage> = seen.into_iter().collect();
        assert_eq!(seen, unseen(name), "{name}");
    }
}

#[test]
fn what_a_shape_lets_pass_stands_in_its_file() {
    for (name, text) in SHIPPED_BALANCES {
        // Comments are broken into lines anywhere.
        let text = text.replace("\n# ", " ");
        let is_checked = shipped(name).frame.check.is_some();
        assert_eq!(is_checked, !unseen(name).contains(&Damage::Flipped));
        let said = if is_checked {
            "wo bytes that changed places would not be"
        } else {
            "digit that arrives as another digit"
        };
        assert!(text.contains(said) && text.contains("check byte"), "{name}");
        assert!(text.contains("counted"), "{name}");
    }
}
