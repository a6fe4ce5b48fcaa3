//! Tells what stands before decimals in a text, before its first number is read.

use super::header::{lines, split};
use super::number::grouped;

/// Most lines that are looked at.
const LINES_MAX: usize = 200;

/// Returns what stands before decimals by the numbers of a text that can be read in one way only; none where
/// there are none, or where they contradict each other.
///
/// A sheet that groups thousands writes `2,218` for an engine speed, and `11.1` only in the next column.
pub(super) fn decimal_mark(body: &[u8], is_whole: bool, delimiter: u8) -> Option<u8> {
    let (mut has_point, mut has_comma) = (false, false);
    for (_, _, line) in lines(body, is_whole).take(LINES_MAX) {
        for cell in split(line, delimiter) {
            match mark_of(cell.as_bytes()) {
                Some(b'.') => has_point = true,
                Some(_) => has_comma = true,
                None => {}
            }
        }
    }
    match (has_point, has_comma) {
        (true, false) => Some(b'.'),
        (false, true) => Some(b','),
        _ => None,
    }
}

/// Returns what stands before the decimals of a number, none where it has none or may be grouped thousands.
fn mark_of(cell: &[u8]) -> Option<u8> {
    let digits = cell.strip_prefix(b"-").unwrap_or(cell);
    let is_mark = |byte: &u8| b".,".contains(byte);
    if !digits
        .iter()
        .all(|byte| byte.is_ascii_digit() || is_mark(byte))
    {
        return None;
    }
    let places: Vec<usize> = (0..digits.len())
        .filter(|&place| is_mark(&digits[place]))
        .collect();
    match places.as_slice() {
        [] => None,
        &[place] => {
            let may_be_grouped =
                digits.len() - place == 4 && (1..=3).contains(&place) && digits[0] != b'0';
            (!may_be_grouped).then_some(digits[place])
        }
        // Two alike are between thousands, save in a date.
        [first, .., last] if digits[*first] == digits[*last] => {
            let mut groups = digits.split(|byte| is_mark(byte)).skip(1);
            let other = if digits[*first] == b'.' { b',' } else { b'.' };
            groups.all(|group| group.len() == 3).then_some(other)
        }
        _ => grouped(std::str::from_utf8(digits).ok()?).map(|(mark, _)| mark),
    }
}

#[cfg(test)]
mod tests {
    use super::decimal_mark;

    /// If this fails, an engine speed of `2,218` in a sheet is two and a bit, or decimals are thousands.
    #[test]
    fn the_mark_is_that_of_numbers_that_read_one_way() {
        let mark = |text: &str| decimal_mark(text.as_bytes(), true, b';').map(char::from);
        assert_eq!(mark("23:59:30.000;2,218;11.1\n"), Some('.'));
        assert_eq!(mark("1;2.218;11,1\n"), Some(','));
        assert_eq!(mark("1;2,218;100\n"), None);
        assert_eq!(mark("0,975\n"), Some(','));
        assert_eq!(mark("2,218.5\n"), Some('.'));
        assert_eq!(mark("1.234.567\n"), Some(','));
        assert_eq!(mark("1,5;2.5\n"), None);
        assert_eq!(mark("name;1,5,;04.05.2031;10:15:30.5\n"), None);
    }
}
