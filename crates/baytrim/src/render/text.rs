//! Sentences: cleaned, counted, wrapped.

/// Units that stay on the line of their number.
const UNITS: [&str; 5] = ["%", "s", "l", "rpm", "cc"];

/// Returns `text` without control characters, so that nobody's remark steers the reader's terminal.
pub(crate) fn plain(text: &str) -> String {
    let clean = |letter: char| match letter {
        '\n' | '\t' => ' ',
        letter if letter.is_control() => '?',
        letter => letter,
    };
    text.trim().chars().map(clean).collect()
}

/// Returns `text` in lines of at most `width` columns, each after `indent` spaces and ending in a
/// line break; a word that is longer than a line stands alone.
pub(crate) fn wrap(text: &str, width: usize, indent: usize) -> String {
    hang(text, width, indent, indent)
}

/// Returns `text` wrapped like [`wrap`], its first line after `first` spaces, the others after `rest`.
pub(crate) fn hang(text: &str, width: usize, first: usize, rest: usize) -> String {
    let mut page = String::new();
    let mut line = " ".repeat(first);
    let mut is_empty = true;
    for word in words(text) {
        let room = line.chars().count() + 1 + word.chars().count();
        if !is_empty && room > width {
            page += line.trim_end();
            page.push('\n');
            line = " ".repeat(rest);
            is_empty = true;
        }
        if !is_empty {
            line.push(' ');
        }
        line += &word;
        is_empty = false;
    }
    if !is_empty {
        page += &line;
        page.push('\n');
    }
    page
}

/// Returns the words of `text`, a number with its unit or its error being one.
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let unit = word.trim_end_matches(['.', ',', ';', ')', ':']);
        let belongs = |last: &&mut String| {
            let is_unit =
                last.ends_with(|letter: char| letter.is_ascii_digit()) && UNITS.contains(&unit);
            is_unit || word == "±" || last.ends_with('±')
        };
        match words.last_mut().filter(belongs) {
            Some(last) => *last += &format!(" {word}"),
            None => words.push(word.to_owned()),
        }
    }
    words
}

/// Returns `count` with its noun: `1 node`, `2 nodes`.
pub(crate) fn counted(count: usize, noun: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {noun}{plural}")
}

/// Returns `text` with a capital at its start.
pub(crate) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// Returns a moment as people read it, `2026-11-25 07:30 UTC`, of an RFC 3339 text.
pub(crate) fn moment(rfc3339: Option<String>) -> String {
    match minute(rfc3339) {
        text if text == "-" => "at an unknown time".to_owned(),
        text => text + " UTC",
    }
}

/// Returns a moment for a column that says UTC at its head.
pub(crate) fn minute(rfc3339: Option<String>) -> String {
    match rfc3339 {
        Some(text) if text.len() >= 16 && text.is_ascii() => {
            format!("{} {}", &text[..10], &text[11..16])
        }
        _ => "-".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::{counted, hang, moment, plain, wrap};

    /// A remark in a log's name could move the cursor or retitle the window of whoever reads it.
    #[test]
    fn control_characters_do_not_reach_the_terminal() {
        assert_eq!(plain("a\u{1b}]0;x\u{7}b\nc"), "a?]0;x?b c");
    }

    /// Sentences would run over the edge of a narrow terminal.
    #[test]
    fn lines_keep_to_the_width() {
        let page = wrap("one two three four five", 11, 2);
        assert_eq!(page, "  one two\n  three\n  four five\n");
        assert_eq!(hang("one two three", 9, 0, 2), "one two\n  three\n");
        assert_eq!(wrap("", 10, 2), "");
        assert_eq!(
            wrap("as much as 10 %, no more", 13, 0),
            "as much as\n10 %, no more\n"
        );
    }

    /// Pages would read "1 nodes" or show a moment that is not one.
    #[test]
    fn counts_and_moments_read_well() {
        assert_eq!(counted(1, "node"), "1 node");
        assert_eq!(counted(0, "node"), "0 nodes");
        assert_eq!(
            moment(Some("2026-11-25T07:30:12Z".to_owned())),
            "2026-11-25 07:30 UTC"
        );
        assert_eq!(moment(None), "at an unknown time");
    }
}
