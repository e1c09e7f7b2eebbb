//! Streams cut into lines: plain, framed, cut anywhere, damaged anywhere.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]

use std::time::Duration;

use super::super::frame::{Check, CheckAs, CheckSum, Covers};
use super::*;
use proptest::prelude::*;

fn lines(splitter: &mut Splitter, chunks: &[&[u8]]) -> Vec<String> {
    let mut out = Vec::new();
    for chunk in chunks {
        splitter.push(chunk, |piece| {
            out.push(match piece {
                Piece::Line(line) => String::from_utf8_lossy(line).into_owned(),
                Piece::TooLong => "<too long>".to_owned(),
                Piece::Damaged => "<damaged>".to_owned(),
            });
        });
    }
    out
}

#[test]
fn any_line_end_and_any_cut_give_the_same_lines() {
    let text = b"art\r\n 1.0 g\r\n\r\n2.0 g\n3.0 g\r4.0 g\r\n5";
    for size in 1..text.len() {
        let chunks: Vec<&[u8]> = text.chunks(size).collect();
        let found = lines(&mut Splitter::mid_stream(), &chunks);
        assert_eq!(
            found,
            [" 1.0 g", "2.0 g", "3.0 g", "4.0 g"],
            "chunks of {size}"
        );
    }
    assert_eq!(
        lines(&mut Splitter::at_line_start(), &[b"1.0 g\n"]),
        ["1.0 g"]
    );
}

#[test]
fn too_long_is_said_once_and_the_next_line_is_whole() {
    let long = [b'7'; 3 * Splitter::LONGEST];
    let found = lines(
        &mut Splitter::at_line_start(),
        &[&long, &long, b"\n1.0 g\n"],
    );
    assert_eq!(found, ["<too long>", "1.0 g"]);
    let exact = [b'7'; Splitter::LONGEST];
    assert_eq!(
        lines(&mut Splitter::at_line_start(), &[&exact, b"\n"])[0].len(),
        Splitter::LONGEST
    );
}

proptest! {
    #[test]
    fn no_bytes_make_it_grow_or_panic(bytes in proptest::collection::vec(any::<u8>(), 0..4000), size in 1usize..300) {
        let mut splitter = Splitter::mid_stream();
        for chunk in bytes.chunks(size) {
            splitter.push(chunk, |piece| if let Piece::Line(line) = piece {
                assert!(!line.is_empty() && line.len() <= Splitter::LONGEST);
                assert!(!line.iter().any(|b| is_end(*b)));
            });
            prop_assert!(splitter.buffer.capacity() <= Splitter::LONGEST);
        }
    }
}

/// Every frame that does not contradict itself, with a check of each kind.
fn frames() -> impl Strategy<Value = FrameSpec> {
    let check = (
        proptest::sample::select(CheckSum::WORDS.map(|(_, how)| how).to_vec()),
        proptest::sample::select(CheckAt::WORDS.map(|(_, at)| at).to_vec()),
        proptest::sample::select(CheckAs::WORDS.map(|(_, written)| written).to_vec()),
        proptest::sample::select(Covers::WORDS.map(|(_, covers)| covers).to_vec()),
    )
        .prop_map(|(how, at, written, covers)| Check {
            how,
            at,
            written,
            covers,
        });
    (
        proptest::sample::select(vec![Start::Anywhere, Start::Stx]),
        proptest::sample::select(vec![
            End::Line,
            End::Etx,
            End::Gap(Duration::from_millis(40)),
        ]),
        proptest::option::of(check),
    )
        .prop_map(|(starts, ends, check)| FrameSpec {
            starts,
            ends,
            check,
        })
        .prop_filter("contradicts itself", |frame| {
            frame.contradiction().is_none()
        })
}

/// A check byte before the end can look like the start or the end; such a frame is dropped.
fn is_plain_on_the_wire(frame: &FrameSpec, payload: &[u8]) -> bool {
    frame.check.is_none_or(|check| {
        check.at == CheckAt::AfterEnd
            || check.written == CheckAs::Hex
            || ![0x02, 0x03, b'\r', b'\n'].contains(&check.of(payload))
    })
}

/// What a splitter makes of lines on the wire, handed over in chunks, with a pause behind each line.
fn heard(frame: FrameSpec, wire: &[Vec<u8>], size: usize) -> Vec<String> {
    let mut splitter = Splitter::at_line_start().framed(frame);
    let mut out = Vec::new();
    let mut take = |piece: Piece<'_>| {
        out.push(match piece {
            Piece::Line(line) => String::from_utf8_lossy(line).into_owned(),
            Piece::TooLong => "<too long>".to_owned(),
            Piece::Damaged => "<damaged>".to_owned(),
        });
    };
    for line in wire {
        for chunk in line.chunks(size) {
            splitter.push(chunk, &mut take);
        }
        splitter.paused(&mut take);
    }
    out
}

fn etx_xor() -> FrameSpec {
    FrameSpec {
        starts: Start::Stx,
        ends: End::Etx,
        check: Some(Check {
            how: CheckSum::Xor,
            at: CheckAt::AfterEnd,
            written: CheckAs::Byte,
            covers: Covers::WithEnd,
        }),
    }
}

#[test]
fn a_framed_line_is_found_between_rubbish() {
    // 0x31 ^ 0x03 is 0x32; the check of "2" is 0x31.
    let wire = b"rest\x03x\r\n\x021\x032\r\n\x022\x031";
    assert_eq!(heard(etx_xor(), &[wire.to_vec()], 3), ["1", "2"]);
    let cut = b"\x0212.3\x021\x032";
    assert_eq!(heard(etx_xor(), &[cut.to_vec()], 9), ["<damaged>", "1"]);
    let wrong = b"\x021\x033\x021\x032";
    assert_eq!(heard(etx_xor(), &[wrong.to_vec()], 9), ["<damaged>", "1"]);
    let bare = FrameSpec {
        ends: End::Etx,
        ..FrameSpec::default()
    };
    let wire = b"1\r\n\x03\r\n2\x03\x03".to_vec();
    assert_eq!(heard(bare, &[wire], 2), ["1", "2"]);
}

#[test]
fn a_check_byte_that_looks_like_a_start_is_taken_for_what_it_is() {
    // 0x41 ^ 0x40 ^ 0x03 is 0x02.
    let wire = b"\x02A@\x03\x02\r\n\x021\x032".to_vec();
    assert_eq!(heard(etx_xor(), &[wire], 1), ["A@", "1"]);
}

#[test]
fn a_pause_ends_a_line_and_only_where_the_frame_says_so() {
    let at = |ms| Moment::after_origin(Duration::from_millis(ms));
    let gap = FrameSpec {
        ends: End::Gap(Duration::from_millis(40)),
        ..FrameSpec::default()
    };
    let mut splitter = Splitter::mid_stream().framed(gap);
    let mut out = Vec::new();
    let mut take = |piece: Piece<'_>| out.push(format!("{piece:?}"));
    splitter.push(b"2.3 g", &mut take);
    assert_eq!(
        splitter.pause_due(at(5)),
        Some(at(45)),
        "the first is entered in the middle"
    );
    splitter.paused(&mut take);
    assert_eq!(splitter.pause_due(at(45)), None, "nothing to end");
    splitter.push(b"12.", &mut take);
    splitter.push(b"3 g\r\n", &mut take);
    assert_eq!(splitter.pause_due(at(60)), Some(at(100)));
    splitter.paused(&mut take);
    assert_eq!(out, [format!("{:?}", Piece::Line(b"12.3 g"))]);
    let mut plain = Splitter::at_line_start();
    plain.push(b"12.", |_| panic!("no line yet"));
    assert_eq!(plain.pause_due(at(0)), None);
    plain.paused(|_| panic!("no pause ends it"));
}

proptest! {
    #[test]
    fn every_frame_gives_back_what_was_wrapped(frame in frames(), payloads in proptest::collection::vec("[ -~]{1,40}", 1..8), size in 1usize..50) {
        let wrapped: Vec<&String> = payloads.iter().filter(|text| is_plain_on_the_wire(&frame, text.as_bytes())).collect();
        let wire: Vec<Vec<u8>> = wrapped.iter().map(|text| frame.wrap(text.as_bytes())).collect();
        let found = heard(frame, &wire, size);
        prop_assert_eq!(found, wrapped.into_iter().cloned().collect::<Vec<_>>());
    }

    #[test]
    fn one_flipped_bit_never_gives_another_line(frame in frames(), payload in "[ -~]{1,40}", byte in any::<proptest::sample::Index>(), bit in 0u8..8) {
        // Passed over, not rejected: a long run would end by its rejects.
        if frame.check.is_none() || !is_plain_on_the_wire(&frame, payload.as_bytes()) {
            return Ok(());
        }
        let mut wire = frame.wrap(payload.as_bytes());
        let at = byte.index(wire.len());
        wire[at] ^= 1 << bit;
        for line in heard(frame, &[wire.clone()], 64) {
            // A digit of the check in the other case is the same check.
            prop_assert!(line == "<damaged>" || line == payload, "{} of {}", line, wire.escape_ascii());
        }
    }

    #[test]
    fn no_bytes_in_any_frame_make_it_grow_or_panic(frame in frames(), bytes in proptest::collection::vec(prop_oneof![Just(0x02), Just(0x03), Just(b'\r'), any::<u8>()], 0..3000), size in 1usize..300) {
        let mut splitter = Splitter::mid_stream().framed(frame);
        for (at, chunk) in bytes.chunks(size).enumerate() {
            let mut check = |piece: Piece<'_>| if let Piece::Line(line) = piece {
                assert!(!line.is_empty() && line.len() <= Splitter::LONGEST);
            };
            splitter.push(chunk, &mut check);
            if at % 3 == 0 {
                splitter.paused(&mut check);
            }
            prop_assert!(splitter.buffer.capacity() <= Splitter::LONGEST);
        }
    }
}
