//! Walks the structures of a Parquet file, and refuses what its library would count through without end.
//!
//! Layout by the compact protocol of Apache Thrift. The library goes by what a field should hold and not by
//! what it says to hold, passes over the end of the file and takes no byte for a truth value in a list, so that
//! eight bytes can keep it busy for hours. Here every two steps take a byte at least.

/// What a field holds.
#[derive(Debug)]
pub(super) enum Shape {
    /// Yes or no.
    Truth,
    /// One byte.
    Byte,
    /// A whole number of any width.
    Whole,
    /// A double.
    Double,
    /// Bytes or text.
    Binary,
    /// A structure; fields that are not named are passed over by what they say to hold.
    Struct(&'static [(i16, Shape)]),
    /// A list.
    List(&'static Shape),
}

/// Structures in structures, at most. The deepest of the format has seven.
const DEPTH_MAX: usize = 16;

/// A walk along bytes.
pub(super) struct Walk<'a> {
    rest: &'a [u8],
    /// Where it is: the fields from the outermost structure on.
    path: Vec<i16>,
    /// Steps so far: fields and elements.
    pub steps: usize,
}

/// Told of each whole number, and of where it stands.
type Visit<'v> = &'v mut dyn FnMut(&[i16], i64);

impl<'a> Walk<'a> {
    /// Starts at the beginning of `bytes`.
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self {
            rest: bytes,
            path: Vec::new(),
            steps: 0,
        }
    }

    /// Returns the bytes that were not walked yet.
    pub(super) fn rest(&self) -> &'a [u8] {
        self.rest
    }

    /// Walks along a structure with `fields`; none where it does not hold together.
    pub(super) fn structure(&mut self, fields: &[(i16, Shape)], visit: Visit<'_>) -> Option<()> {
        if self.path.len() >= DEPTH_MAX {
            return None;
        }
        let mut id = 0_i16;
        loop {
            self.steps += 1;
            let head = self.byte()?;
            let said = head & 0x0f;
            if said == 0 {
                return Some(());
            }
            id = match head >> 4 {
                0 => i16::try_from(self.whole()?).ok()?,
                step => id.checked_add(i16::from(step))?,
            };
            self.path.push(id);
            match fields.iter().find(|(known, _)| *known == id) {
                Some((_, shape)) if shape.is_said_by(said) => self.value(shape, visit)?,
                Some(_) => return None,
                None => self.unknown(said, visit)?,
            }
            self.path.pop();
        }
    }

    fn value(&mut self, shape: &Shape, visit: Visit<'_>) -> Option<()> {
        match shape {
            Shape::Truth => Some(()),
            Shape::Byte => self.byte().map(|_| ()),
            Shape::Whole => {
                let value = self.whole()?;
                visit(&self.path, value);
                Some(())
            }
            Shape::Double => self.pass(8),
            Shape::Binary => {
                let length = usize::try_from(self.varint()?).ok()?;
                self.pass(length)
            }
            Shape::Struct(fields) => self.structure(fields, visit),
            Shape::List(shape) => {
                let (said, count) = self.list()?;
                if count > 0 && !(shape.is_said_by(said) && shape.takes_bytes()) {
                    return None;
                }
                for _ in 0..count {
                    self.steps += 1;
                    self.value(shape, visit)?;
                }
                Some(())
            }
        }
    }

    /// Passes over a field by what it says to hold.
    fn unknown(&mut self, said: u8, visit: Visit<'_>) -> Option<()> {
        match said {
            1 | 2 => Some(()),
            3 => self.value(&Shape::Byte, visit),
            4..=6 => self.whole().map(|_| ()),
            7 => self.pass(8),
            8 => self.value(&Shape::Binary, visit),
            9 | 10 => {
                let (said, count) = self.list()?;
                if count > 0 && said < 3 {
                    return None;
                }
                self.path.push(0);
                if self.path.len() > DEPTH_MAX {
                    return None;
                }
                for _ in 0..count {
                    self.steps += 1;
                    self.unknown(said, visit)?;
                }
                self.path.pop();
                Some(())
            }
            // The format has no maps; an empty one is a zero.
            11 => (self.byte()? == 0).then_some(()),
            12 => self.structure(&[], visit),
            13 => self.pass(16),
            _ => None,
        }
    }

    /// Returns what a list's elements say to be, and their count, which has room in what is left.
    fn list(&mut self) -> Option<(u8, usize)> {
        let head = self.byte()?;
        let count = match head >> 4 {
            15 => usize::try_from(self.varint()?).ok()?,
            count => usize::from(count),
        };
        (count <= self.rest.len()).then_some((head & 0x0f, count))
    }

    fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.rest.split_first()?;
        self.rest = rest;
        Some(*first)
    }

    fn pass(&mut self, count: usize) -> Option<()> {
        self.rest = self.rest.get(count..)?;
        Some(())
    }

    fn varint(&mut self) -> Option<u64> {
        let mut value = 0_u64;
        for shift in (0..70).step_by(7) {
            let byte = self.byte()?;
            value |= u64::from(byte & 0x7f).checked_shl(shift).unwrap_or(0);
            if byte & 0x80 == 0 {
                return Some(value);
            }
        }
        None
    }

    fn whole(&mut self) -> Option<i64> {
        let value = self.varint()?;
        Some((value >> 1).cast_signed() ^ -(value & 1).cast_signed())
    }
}

impl Shape {
    /// Returns whether a field that says `said` may hold this.
    fn is_said_by(&self, said: u8) -> bool {
        match self {
            Self::Truth => said == 1 || said == 2,
            Self::Byte => said == 3,
            Self::Whole => (4..=6).contains(&said),
            Self::Double => said == 7,
            Self::Binary => said == 8,
            Self::List(_) => said == 9,
            Self::Struct(_) => said == 12,
        }
    }

    fn takes_bytes(&self) -> bool {
        !matches!(self, Self::Truth)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::{Shape, Walk};
    use crate::columnar::shapes::{FILE, PAGE};

    /// Whole numbers, and where they stand.
    type Seen = Vec<(Vec<i16>, i64)>;

    fn walk(bytes: &[u8], fields: &[(i16, Shape)]) -> (Option<()>, usize, Seen) {
        let mut seen = Vec::new();
        let mut walk = Walk::new(bytes);
        let end = walk.structure(fields, &mut |path, value| seen.push((path.to_vec(), value)));
        (end, walk.steps, seen)
    }

    /// If this fails, the numbers of a page's head are others than those written. Bytes by hand, after the
    /// Thrift compact protocol: type 0, 300 bytes unpacked, 200 packed, 25 values in plain.
    #[test]
    fn a_head_is_read() {
        let head = [
            0x15, 0x00, 0x15, 0xd8, 0x04, 0x15, 0x90, 0x03, 0x2c, 0x15, 0x32, 0x15, 0x00, 0x15,
            0x06, 0x15, 0x06, 0x00, 0x00,
        ];
        let (end, _, seen) = walk(&head, PAGE);
        assert_eq!(end, Some(()));
        assert_eq!(
            seen[..4],
            [
                (vec![1], 0),
                (vec![2], 300),
                (vec![3], 200),
                (vec![5, 1], 25)
            ]
        );
    }

    /// If this fails, a few bytes that claim two thousand million elements of no size, elements beyond the end
    /// or structures without end are counted through.
    #[test]
    fn claims_without_bytes_are_refused() {
        let many = [0xff, 0xff, 0xff, 0xff, 0x07];
        for element in [1_u8, 2, 7, 8, 12, 13] {
            for field in [0x99_u8, 0x9a] {
                let mut bytes = vec![field, 0xf0 | element];
                bytes.extend(many);
                let (end, steps, _) = walk(&bytes, PAGE);
                assert_eq!(end, None, "{field} {element}");
                assert!(steps <= 2, "{steps}");
            }
        }
        assert_eq!(walk(&[0x1c; 1000], FILE).0, None);
        assert_eq!(walk(&[0xfc; 1000], FILE).0, None);
    }

    proptest! {
        /// If this fails, some bytes cost more than two steps each, an element and its first field.
        #[test]
        fn steps_take_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
            for fields in [PAGE, FILE] {
                let (_, steps, _) = walk(&bytes, fields);
                prop_assert!(steps <= 2 * bytes.len() + 1);
            }
        }
    }
}
