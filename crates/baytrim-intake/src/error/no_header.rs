//! What stands where the names of columns should.

/// What a text holds in place of a row of column names with readings beneath it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NoHeader {
    /// Readings from the first row on.
    Readings,
    /// A table whose columns are set apart by something else.
    OtherDelimiter(char),
    /// No table among so many lines that hold something.
    NoTable {
        /// Lines looked at.
        line_count: usize,
    },
}

impl NoHeader {
    /// Writes the finding and, after the semicolon, what to do; `text` is how the row begins.
    pub(super) fn write(self, text: &str) -> String {
        match self {
            Self::Readings => format!(
                "numbers stand where column names should (\"{text}\"); add a row with the name of each column above them"
            ),
            Self::OtherDelimiter(mark) => format!(
                "columns are set apart by {}, it seems (\"{text}\"); set them apart by commas, semicolons or tabs",
                named(mark)
            ),
            Self::NoTable { line_count } => format!(
                "the text begins \"{text}\", and {} no row of column names with numbers beneath it; export the log as a table: one row with the name of each column, the readings below",
                in_lines(line_count)
            ),
        }
    }
}

fn named(mark: char) -> String {
    match mark {
        ' ' => "spaces".to_owned(),
        other => format!("\"{other}\""),
    }
}

fn in_lines(line_count: usize) -> String {
    match line_count {
        1 => "its one line holds".to_owned(),
        _ => format!("its first {line_count} lines hold"),
    }
}
