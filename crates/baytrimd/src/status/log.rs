//! Refusals of a log: file, row and column as metadata.

use baytrim_intake::IntakeError;
use baytrim_intake::place::CellPlace;
use baytrim_model::field::FieldError;
use tonic::Code;

use super::Told;

pub(super) fn tell(error: &IntakeError) -> Told {
    let mut told = Told::new(Code::InvalidArgument, error.reason(), error);
    let place = place(error);
    told = told.with("file", &place.file);
    // A file that has no rows as an editor counts them says row 0.
    let row = place.row.filter(|row| *row > 0);
    if let Some(row) = row {
        told = told.with("row", &row);
    }
    if let Some(column) = place.column {
        told = told.with("column", &column);
    }
    if let IntakeError::Map { problems, .. } = error {
        return problems.iter().fold(told, Told::field);
    }
    let message = error.to_string();
    let field = error.field();
    let row = row.map(|row| format!("row {row}"));
    // The message begins with the place, which the violation names by itself.
    let mut rest = message.as_str();
    for known in [place.file, &field, row.as_deref().unwrap_or(&field)] {
        let stripped = rest.strip_prefix(known);
        rest = stripped
            .and_then(|rest| rest.strip_prefix(": "))
            .unwrap_or(rest);
    }
    let (problem, remedy) = rest.rsplit_once("; ").unwrap_or((rest, ""));
    told.field(&FieldError::new(field, problem, remedy))
}

struct Place<'a> {
    file: &'a str,
    row: Option<u64>,
    column: Option<&'a str>,
}

fn place(error: &IntakeError) -> Place<'_> {
    use IntakeError as E;
    match error {
        E::NotANumber { place, .. }
        | E::NotFinite { place, .. }
        | E::OutOfRange { place, .. }
        | E::TimeMissing { place }
        | E::ClockBackwards { place, .. }
        | E::TimeRepeated { place, .. }
        | E::ClockStuck { place, .. }
        | E::ClockTooLong { place, .. } => cell(place),
        E::TooManyColumns {
            source_name, row, ..
        }
        | E::RowTooLong {
            source_name, row, ..
        }
        | E::HeaderMissing {
            source_name, row, ..
        }
        | E::RowWidth {
            source_name, row, ..
        }
        | E::NoRows { source_name, row } => Place {
            file: source_name,
            row: Some(*row),
            column: None,
        },
        E::ColumnMissing {
            source_name,
            row,
            column,
            ..
        }
        | E::ColumnTwice {
            source_name,
            row,
            column,
            ..
        } => Place {
            file: source_name,
            row: Some(*row),
            column: Some(column),
        },
        E::UnitDoubtful {
            source_name,
            column,
            ..
        }
        | E::ChannelEmpty {
            source_name,
            column,
            ..
        } => Place {
            file: source_name,
            row: None,
            column: Some(column),
        },
        E::Unreadable { source_name, .. }
        | E::Empty { source_name }
        | E::NotText { source_name, .. }
        | E::UnsupportedFormat { source_name, .. }
        | E::Truncated { source_name, .. }
        | E::Corrupt { source_name, .. }
        | E::Damaged { source_name, .. }
        | E::Unsuited { source_name, .. }
        | E::TooManyBytes { source_name, .. }
        | E::TooManyRows { source_name, .. }
        | E::Map { source_name, .. } => whole(source_name),
        // The enum may grow; a new kind is told without its place until it is listed above.
        _ => whole("log"),
    }
}

fn whole(file: &str) -> Place<'_> {
    Place {
        file,
        row: None,
        column: None,
    }
}

fn cell(place: &CellPlace) -> Place<'_> {
    Place {
        file: &place.source_name,
        row: Some(place.row),
        column: Some(&place.column),
    }
}
