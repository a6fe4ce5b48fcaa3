//! Numbers as logs write them.

/// What a cell says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum CellValue {
    /// A finite number.
    Number(f64),
    /// Infinite, or 'not a number' in so many words.
    NotFinite,
    /// Text that is no number.
    Text,
    /// A number, but its decimals are set apart otherwise than those above.
    OtherMark,
    /// Thousands are set apart in a way that is not plain: see [`grouped`].
    Thousands,
}

/// Reads numbers of one log; the first decimals that it meets settle whether a comma or a point
/// stands before them.
#[derive(Debug, Default)]
pub(crate) struct NumberReader {
    mark: Option<u8>,
}

impl NumberReader {
    /// Returns a reader of a log in which `mark` stands before decimals, where that is known.
    pub(crate) fn new(mark: Option<u8>) -> Self {
        Self { mark }
    }

    /// Returns what stands before decimals, where the log had any yet.
    pub(crate) fn mark(&self) -> Option<char> {
        self.mark.map(char::from)
    }

    /// Reads a cell that has neither spaces at its ends nor is empty.
    pub(crate) fn read(&mut self, cell: &[u8]) -> CellValue {
        match short_decimal(cell) {
            Some((number, Some(mark))) => return self.with_mark(mark, number, cell),
            Some((number, None)) => return CellValue::Number(number),
            None => {}
        }
        let Ok(text) = std::str::from_utf8(cell) else {
            return CellValue::Text;
        };
        if let Ok(number) = text.parse::<f64>() {
            if !number.is_finite() {
                return CellValue::NotFinite;
            }
            if cell.contains(&b'.') {
                return self.with_mark(b'.', number, cell);
            }
            return CellValue::Number(number);
        }
        if let Some(number) = self.whole_groups(cell) {
            return CellValue::Number(number);
        }
        let Some((whole, decimals)) = text.split_once(',') else {
            return CellValue::Text;
        };
        if decimals.contains(',') || text.contains('.') {
            if let Some((mark, number)) = grouped(text) {
                return self.with_mark(mark, number, cell);
            }
            let is_digits = |byte: &u8| byte.is_ascii_digit() || b"+-.,".contains(byte);
            return if cell.iter().all(is_digits) {
                CellValue::Thousands
            } else {
                CellValue::Text
            };
        }
        match format!("{whole}.{decimals}").parse::<f64>() {
            Ok(number) if number.is_finite() => self.with_mark(b',', number, cell),
            Ok(_) => CellValue::NotFinite,
            Err(_) => CellValue::Text,
        }
    }

    fn with_mark(&mut self, mark: u8, number: f64, cell: &[u8]) -> CellValue {
        if *self.mark.get_or_insert(mark) == mark {
            return CellValue::Number(number);
        }
        self.whole_groups(cell)
            .map_or(CellValue::OtherMark, CellValue::Number)
    }

    /// Returns a whole number whose thousands are set apart, where the mark of decimals is known to be the other.
    fn whole_groups(&self, cell: &[u8]) -> Option<f64> {
        let group_mark = match self.mark? {
            b'.' => b',',
            _ => b'.',
        };
        let digits = cell.strip_prefix(b"-").unwrap_or(cell);
        let mut groups = digits.split(|byte| *byte == group_mark);
        let first = groups.next()?;
        let is_digits = |group: &[u8]| group.iter().all(u8::is_ascii_digit);
        let is_first = (1..=3).contains(&first.len()) && is_digits(first) && first[0] != b'0';
        if !is_first || !groups.all(|group| group.len() == 3 && is_digits(group)) {
            return None;
        }
        let plain: Vec<u8> = cell
            .iter()
            .copied()
            .filter(|byte| *byte != group_mark)
            .collect();
        std::str::from_utf8(&plain).ok()?.parse().ok()
    }
}

/// Powers of ten that a double holds exactly, as far as decimals of short numbers go.
const POWERS_OF_TEN: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Returns a number of up to 15 digits as nearly all cells hold it, and the mark before its decimals.
///
/// Its digits and the power of ten are doubles without rounding, so that their quotient is the double next to
/// what was written, as the standard library returns it in three times the time.
fn short_decimal(cell: &[u8]) -> Option<(f64, Option<u8>)> {
    let (is_negative, digits) = match cell {
        [b'-', digits @ ..] => (true, digits),
        digits => (false, digits),
    };
    if digits.len() > 16 {
        return None;
    }
    let (mut whole, mut digit_count) = (0_u64, 0);
    let mut mark = None;
    for (place, &byte) in digits.iter().enumerate() {
        match byte {
            b'0'..=b'9' => {
                whole = whole * 10 + u64::from(byte - b'0');
                digit_count += 1;
            }
            b'.' | b',' if mark.is_none() && place > 0 => mark = Some((byte, place)),
            _ => return None,
        }
    }
    let decimal_count = mark.map_or(0, |(_, place)| digits.len() - 1 - place);
    if digit_count == 0 || digit_count > 15 || mark.is_some() && decimal_count == 0 {
        return None;
    }
    let number = whole as f64 / POWERS_OF_TEN[decimal_count];
    let number = if is_negative { -number } else { number };
    Some((number, mark.map(|(byte, _)| byte)))
}

/// Returns a number whose thousands are set apart, `2.500,25` or `2,500.25`, with what stands before its
/// decimals.
///
/// Plain is only what has decimals and whole groups of three before them, set apart by the other mark:
/// `1,234` may be either, and so may not be guessed at.
pub(super) fn grouped(text: &str) -> Option<(u8, f64)> {
    let at = text.rfind(['.', ','])?;
    let (whole, decimals) = (&text[..at], &text[at + 1..]);
    let mark = text.as_bytes()[at];
    let other = if mark == b'.' { ',' } else { '.' };
    let is_digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let mut groups = whole.trim_start_matches(['+', '-']).split(other);
    let first = groups.next()?;
    let are_groups = groups.all(|group| group.len() == 3 && is_digits(group));
    if !(is_digits(first) && first.len() <= 3 && are_groups && is_digits(decimals)) {
        return None;
    }
    let plain = format!("{}.{decimals}", whole.replace(other, ""));
    plain.parse().ok().map(|number| (mark, number))
}

/// Words that say on: English, German, French, Italian, Spanish, Portuguese, as spreadsheet programs write
/// truth values in these languages and loggers write switches.
const FLAG_ON: [&str; 16] = [
    "on",
    "true",
    "yes",
    "active",
    "ein",
    "an",
    "wahr",
    "ja",
    "aktiv",
    "vrai",
    "oui",
    "vero",
    "si",
    "s\u{ed}",
    "verdadero",
    "verdadeiro",
];

/// Words that say off.
const FLAG_OFF: [&str; 11] = [
    "off", "false", "no", "inactive", "aus", "falsch", "nein", "inaktiv", "faux", "non", "falso",
];

/// Returns 1 or 0 for a word that says on or off.
pub(crate) fn read_flag_word(cell: &[u8]) -> Option<f64> {
    let is = |words: &[&str]| {
        words
            .iter()
            .any(|word| cell.eq_ignore_ascii_case(word.as_bytes()))
    };
    if is(&FLAG_ON) {
        Some(1.0)
    } else if is(&FLAG_OFF) {
        Some(0.0)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A number in another notation would be read as a different number, without a word.
    #[test]
    fn each_notation_reads_as_what_it_means() {
        let read = |cells: &[&str]| {
            let mut reader = NumberReader::default();
            let values = cells.iter().map(|cell| reader.read(cell.as_bytes()));
            values.collect::<Vec<_>>()
        };
        let number = CellValue::Number;
        assert_eq!(
            read(&["1", "-2.5e3", ".5"]),
            [number(1.0), number(-2500.0), number(0.5)]
        );
        assert_eq!(read(&["1,5", "-0,25"]), [number(1.5), number(-0.25)]);
        assert_eq!(read(&["1.5", "1,5"]), [number(1.5), CellValue::OtherMark]);
        assert_eq!(read(&["1,5", "1.5"]), [number(1.5), CellValue::OtherMark]);
        // A mark that is known leaves one meaning to the other one.
        assert_eq!(read(&["1.5", "2,218"]), [number(1.5), number(2218.0)]);
        assert_eq!(
            read(&["1,5", "-2.218.000"]),
            [number(1.5), number(-2_218_000.0)]
        );
        assert_eq!(read(&["1.5", "0,218"]), [number(1.5), CellValue::OtherMark]);
        assert_eq!(
            read(&["1.234,5", "-12.345.678,25", "7,5"]),
            [number(1234.5), number(-12_345_678.25), number(7.5)]
        );
        assert_eq!(read(&["1,234.5", "0.5"]), [number(1234.5), number(0.5)]);
        assert_eq!(
            read(&["0.5", "1.234,5"]),
            [number(0.5), CellValue::OtherMark]
        );
        let unplain = [
            "1,234,567",
            "12,34.5",
            "1234,567.8",
            "1.23,4",
            "1,234.",
            "-,123.4",
        ];
        assert_eq!(read(&unplain), [CellValue::Thousands; 6]);
        assert_eq!(read(&["NaN", "-inf", "1e999"]), [CellValue::NotFinite; 3]);
        assert_eq!(read(&["-", "12:30", "1,2x", "1 000"]), [CellValue::Text; 4]);
    }

    proptest::proptest! {
        /// If this fails, a short number is another double than the standard library makes of it, or a text
        /// that is no number passes for one.
        #[test]
        fn short_decimals_are_the_doubles_next_to_them(cell in "-?[0-9]{0,9}[.,]?[0-9]{0,9}") {
            let found = short_decimal(cell.as_bytes());
            let plain = cell.replace(',', ".").parse::<f64>();
            if let Some((number, mark)) = found {
                proptest::prop_assert_eq!(plain.map(f64::to_bits), Ok(number.to_bits()));
                proptest::prop_assert_eq!(mark, cell.bytes().find(|byte| b".,".contains(byte)));
            } else {
                let digit_count = cell.bytes().filter(u8::is_ascii_digit).count();
                let is_open = cell.trim_start_matches('-').starts_with(['.', ',']) || cell.ends_with(['.', ',']);
                proptest::prop_assert!(digit_count == 0 || digit_count > 15 || is_open, "{}", cell);
            }
        }
    }
}
