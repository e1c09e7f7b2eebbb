//! What a port makes of bits that were sent at another speed or framing.
//!
//! An asynchronous receiver waits for the edge of a start bit and takes each bit in its middle, by
//! its own clock (start bit 0, data bits lowest first, check bit, stop bit 1; common practice of
//! serial ports). Leaves to others: which speed the port is set to.

use super::framing::{DataBits, Framing, Parity, StopBits};

/// The characters that a port at `receiver` bits a second, 8N1, hears of these, sent at `sender`
/// bits a second in this framing after a quiet line.
pub(super) fn heard(bytes: &[u8], (sender, framing): (u32, Framing), receiver: u32) -> Vec<u8> {
    let line: Vec<bool> = bytes.iter().flat_map(|byte| bits(*byte, framing)).collect();
    // In time units of which a sent bit lasts `receiver` and a heard one `sender`.
    let (sent, taken) = (u64::from(receiver.max(1)), u64::from(sender.max(1)));
    let end = sent * u64::try_from(line.len()).unwrap_or(0);
    let level = |at: u64| {
        let place = usize::try_from(at / sent).unwrap_or(usize::MAX);
        line.get(place).copied().unwrap_or(true) // an idle line is high
    };
    let mut out = Vec::new();
    let mut at = 0;
    while at < end {
        if level(at) {
            at = (at / sent + 1) * sent;
            continue;
        }
        let middle = at + taken / 2;
        let byte = (1..=8_u32).fold(0_u8, |byte, bit| {
            let one = level(middle + taken * u64::from(bit));
            byte | u8::from(one) << (bit - 1)
        });
        out.push(byte);
        at = middle + taken * 9;
        // Without a stop bit the line must rise before another start can be seen.
        while at < end && !level(at) {
            at = (at / sent + 1) * sent;
        }
    }
    out
}

fn bits(byte: u8, framing: Framing) -> Vec<bool> {
    let width = match framing.data_bits {
        DataBits::Seven => 7,
        DataBits::Eight => 8,
    };
    let mut bits = vec![false];
    bits.extend((0..width).map(|bit| byte >> bit & 1 == 1));
    let is_odd = bits.iter().filter(|one| **one).count() % 2 == 1;
    match framing.parity {
        Parity::None => {}
        Parity::Odd => bits.push(!is_odd),
        Parity::Even => bits.push(is_odd),
    }
    bits.push(true);
    if framing.stop_bits == StopBits::Two {
        bits.push(true);
    }
    bits
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn at(receiver: u32, framing: &str) -> Vec<u8> {
        heard(b"+ 12.34 g\r\n", (2400, framing.parse().unwrap()), receiver)
    }

    #[test]
    fn at_its_own_speed_every_character_arrives() {
        assert_eq!(at(2400, "8N1"), b"+ 12.34 g\r\n");
        assert_eq!(at(2400, "8N2"), b"+ 12.34 g\r\n");
    }

    #[test]
    fn a_check_bit_arrives_as_the_top_bit() {
        let with_check = at(2400, "7E1");
        let bare: Vec<u8> = with_check.iter().map(|byte| byte & 0x7F).collect();
        assert_eq!(bare, b"+ 12.34 g\r\n");
        // 1 is 0110001, three ones: the check bit makes them even.
        assert_eq!(with_check.get(2), Some(&(b'1' | 0x80)));
        assert!(with_check.iter().all(|byte| byte.count_ones() % 2 == 0));
    }

    #[test]
    fn at_another_speed_nothing_of_it_can_be_read() {
        for receiver in [300, 1200, 4800, 9600, 19_200] {
            let heard = at(receiver, "8N1");
            assert!(!heard.is_empty());
            assert!(!heard.windows(5).any(|part| part == b"12.34"), "{receiver}");
        }
    }
}
