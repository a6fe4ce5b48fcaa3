//! What scripts know a fault by.

use super::IntakeError;

impl IntakeError {
    /// Every reason that there is.
    pub const REASONS: [&str; 28] = [
        "LOG_UNREADABLE",
        "LOG_EMPTY",
        "LOG_NOT_TEXT",
        "LOG_FORMAT_UNSUPPORTED",
        "LOG_TRUNCATED",
        "LOG_CORRUPT",
        "LOG_DAMAGED",
        "LOG_UNSUITED",
        "LOG_TOO_MANY_BYTES",
        "LOG_TOO_MANY_ROWS",
        "LOG_TOO_MANY_COLUMNS",
        "LOG_ROW_TOO_LONG",
        "LOG_HEADER_MISSING",
        "LOG_COLUMN_MISSING",
        "LOG_COLUMN_TWICE",
        "LOG_ROW_WIDTH",
        "LOG_NO_ROWS",
        "LOG_NOT_A_NUMBER",
        "LOG_NOT_FINITE",
        "LOG_VALUE_OUT_OF_RANGE",
        "LOG_UNIT_DOUBTFUL",
        "LOG_CHANNEL_EMPTY",
        "LOG_TIME_MISSING",
        "LOG_CLOCK_BACKWARDS",
        "LOG_TIME_REPEATED",
        "LOG_CLOCK_STUCK",
        "LOG_CLOCK_TOO_LONG",
        "CHANNEL_MAP_INVALID",
    ];

    /// Returns the stable name of the kind of fault, for scripts: upper case with underscores.
    pub fn reason(&self) -> &'static str {
        match self {
            Self::Unreadable { .. } => "LOG_UNREADABLE",
            Self::Empty { .. } => "LOG_EMPTY",
            Self::NotText { .. } => "LOG_NOT_TEXT",
            Self::UnsupportedFormat { .. } => "LOG_FORMAT_UNSUPPORTED",
            Self::Truncated { .. } => "LOG_TRUNCATED",
            Self::Corrupt { .. } => "LOG_CORRUPT",
            Self::Damaged { .. } => "LOG_DAMAGED",
            Self::Unsuited { .. } => "LOG_UNSUITED",
            Self::TooManyBytes { .. } => "LOG_TOO_MANY_BYTES",
            Self::TooManyRows { .. } => "LOG_TOO_MANY_ROWS",
            Self::TooManyColumns { .. } => "LOG_TOO_MANY_COLUMNS",
            Self::RowTooLong { .. } => "LOG_ROW_TOO_LONG",
            Self::HeaderMissing { .. } => "LOG_HEADER_MISSING",
            Self::ColumnMissing { .. } => "LOG_COLUMN_MISSING",
            Self::ColumnTwice { .. } => "LOG_COLUMN_TWICE",
            Self::RowWidth { .. } => "LOG_ROW_WIDTH",
            Self::NoRows { .. } => "LOG_NO_ROWS",
            Self::NotANumber { .. } => "LOG_NOT_A_NUMBER",
            Self::NotFinite { .. } => "LOG_NOT_FINITE",
            Self::OutOfRange { .. } => "LOG_VALUE_OUT_OF_RANGE",
            Self::UnitDoubtful { .. } => "LOG_UNIT_DOUBTFUL",
            Self::ChannelEmpty { .. } => "LOG_CHANNEL_EMPTY",
            Self::TimeMissing { .. } => "LOG_TIME_MISSING",
            Self::ClockBackwards { .. } => "LOG_CLOCK_BACKWARDS",
            Self::TimeRepeated { .. } => "LOG_TIME_REPEATED",
            Self::ClockStuck { .. } => "LOG_CLOCK_STUCK",
            Self::ClockTooLong { .. } => "LOG_CLOCK_TOO_LONG",
            Self::Map { .. } => "CHANNEL_MAP_INVALID",
        }
    }

    /// Returns the place of the fault inside the log, such as `row 14, column "RPM"`;
    /// `log` where it is the log as a whole.
    pub fn field(&self) -> String {
        match self {
            Self::Unreadable { .. }
            | Self::Empty { .. }
            | Self::NotText { .. }
            | Self::UnsupportedFormat { .. }
            | Self::Truncated { .. }
            | Self::Corrupt { .. }
            | Self::Damaged { .. }
            | Self::Unsuited { .. }
            | Self::TooManyBytes { .. }
            | Self::TooManyRows { .. }
            | Self::NoRows { row: 0, .. } => "log".to_owned(),
            Self::TooManyColumns { row, .. }
            | Self::RowTooLong { row, .. }
            | Self::HeaderMissing { row, .. }
            | Self::RowWidth { row, .. }
            | Self::NoRows { row, .. } => format!("row {row}"),
            Self::ColumnMissing { column, .. }
            | Self::ColumnTwice { column, .. }
            | Self::UnitDoubtful { column, .. }
            | Self::ChannelEmpty { column, .. } => format!("column \"{column}\""),
            Self::NotANumber { place, .. }
            | Self::NotFinite { place, .. }
            | Self::OutOfRange { place, .. }
            | Self::TimeMissing { place }
            | Self::ClockBackwards { place, .. }
            | Self::TimeRepeated { place, .. }
            | Self::ClockStuck { place, .. }
            | Self::ClockTooLong { place, .. } => place.cell(),
            Self::Map { problems, .. } => problems
                .first()
                .map_or_else(|| "channels".to_owned(), |problem| problem.field.clone()),
        }
    }
}
