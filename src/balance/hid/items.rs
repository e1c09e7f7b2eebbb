//! A report descriptor as items, one after another (USB-IF, "Device Class Definition for HID"
//! 1.11, section 6.2.2). Leaves to others: what they mean together.

/// The kinds of items.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Fields and collections.
    Main,
    /// What holds from here on.
    Global,
    /// What holds for the next main item only.
    Local,
}

/// One item.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Item {
    pub(super) kind: Kind,
    pub(super) tag: u8,
    /// Bytes of its value: 0, 1, 2 or 4.
    pub(super) size: u8,
    /// The value, taken as having no sign.
    pub(super) data: u32,
}

impl Item {
    /// The value with its sign, in two's complement of the size that it was written in.
    pub(super) fn signed(self) -> i64 {
        signed(u64::from(self.data), u32::from(self.size) * 8)
    }

    /// The value without a sign.
    pub(super) fn unsigned(self) -> i64 {
        i64::from(self.data)
    }
}

/// Reads the lowest `bits` of a number as two's complement.
pub(super) fn signed(number: u64, bits: u32) -> i64 {
    let unused = 64_u32.saturating_sub(bits.max(1));
    (number << unused).cast_signed() >> unused
}

/// The descriptor ended inside an item, or holds an item of a kind that is reserved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Broken;

/// Cuts a descriptor into items. Long items, which no page uses, are passed over.
#[derive(Debug, Clone)]
pub(super) struct Items<'a>(pub(super) &'a [u8]);

impl Iterator for Items<'_> {
    type Item = Result<Item, Broken>;

    fn next(&mut self) -> Option<Self::Item> {
        const LONG: u8 = 0xFE;
        loop {
            let (prefix, rest) = self.0.split_first()?;
            // What is broken ends it: there is no place to go on from.
            self.0 = &[];
            if *prefix == LONG {
                let Some((size, after)) = rest.split_first() else {
                    return Some(Err(Broken));
                };
                // Behind the size stand a tag and the data.
                let Some(after) = after.get(1 + usize::from(*size)..) else {
                    return Some(Err(Broken));
                };
                self.0 = after;
                continue;
            }
            let size = match prefix & 0b11 {
                3 => 4,
                size => size,
            };
            let Some((bytes, rest)) = rest.split_at_checked(usize::from(size)) else {
                return Some(Err(Broken));
            };
            let kind = match (prefix >> 2) & 0b11 {
                0 => Kind::Main,
                1 => Kind::Global,
                2 => Kind::Local,
                _ => return Some(Err(Broken)),
            };
            self.0 = rest;
            let data = bytes
                .iter()
                .rev()
                .fold(0, |data, byte| (data << 8) | u32::from(*byte));
            return Some(Ok(Item {
                kind,
                tag: prefix >> 4,
                size,
                data,
            }));
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing)]
mod tests {
    use super::*;

    #[test]
    fn items_are_cut_with_their_sizes_and_signs() {
        let bytes = [
            0x05, 0x8D, 0x15, 0x81, 0x26, 0xFF, 0x00, 0xFE, 0x02, 0x10, 9, 9, 0x27, 0xFF, 0xFF, 0,
            0, 0xC0,
        ];
        let items: Vec<Item> = Items(&bytes).map(Result::unwrap).collect();
        assert_eq!(items.len(), 5, "the long item is passed over");
        assert_eq!(
            (items[0].kind, items[0].tag, items[0].data),
            (Kind::Global, 0, 0x8D)
        );
        assert_eq!((items[1].signed(), items[1].unsigned()), (-127, 0x81));
        assert_eq!(items[2].signed(), 255);
        assert_eq!(items[3].signed(), 65_535);
        assert_eq!(
            (items[4].kind, items[4].size, items[4].signed()),
            (Kind::Main, 0, 0)
        );
    }

    #[test]
    fn what_is_cut_short_or_reserved_is_said_and_ends_it() {
        for bytes in [&[0x26, 0xFF][..], &[0xFE], &[0xFE, 4, 0, 1], &[0x0C, 0xC0]] {
            let items: Vec<_> = Items(bytes).collect();
            assert_eq!(items, [Err(Broken)], "{bytes:?}");
        }
    }
}
