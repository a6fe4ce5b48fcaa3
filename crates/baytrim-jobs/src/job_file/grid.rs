//! Values over the nodes: one for all, rows in the job file, or a CSV beside it.

use baytrim_model::axis::Axes;
use baytrim_model::field::FieldError;

use super::Attachments;
use super::raw::{GridSource, RowsAxis};

/// Returns the values of `section` in node order.
///
/// # Errors
/// When none or several sources are given, or the one that is given has another shape than `axes`.
pub(super) fn values(
    section: &str,
    source: &GridSource<'_>,
    axes: &Axes,
    attachments: &Attachments,
) -> Result<Vec<f64>, FieldError> {
    match (source.one_for_all, source.values, source.file) {
        (Some(value), None, None) => Ok(vec![value; axes.node_count()]),
        (None, Some(rows), None) => {
            node_order(&format!("{section}.values"), rows, source.rows, axes)
        }
        (None, None, Some(name)) => {
            let field = format!("{section}.file");
            let text = attached_text(&field, name, attachments)?;
            let rows = csv_rows(name, text, source.rows, axes)?;
            node_order(name, &rows, source.rows, axes)
        }
        (one, rows, file) => {
            let given = usize::from(one.is_some())
                + usize::from(rows.is_some())
                + usize::from(file.is_some());
            let choices = if section == "target" {
                "`lambda`, `values` or `file`"
            } else {
                "`values` or `file`"
            };
            Err(FieldError::new(
                section,
                format!("gives its numbers {given} times"),
                format!("give exactly one of {choices}"),
            ))
        }
    }
}

/// Returns the text of a file that came with the job file.
pub(super) fn attached_text<'a>(
    field: &str,
    name: &str,
    attachments: &'a Attachments,
) -> Result<&'a str, FieldError> {
    let bytes = attachments.get(name).ok_or_else(|| {
        FieldError::new(
            field,
            format!("{name:?} did not come with the job file"),
            "put it beside the job file, or send it as an attachment of that name",
        )
    })?;
    let text = std::str::from_utf8(bytes).map_err(|_| {
        FieldError::new(
            field,
            format!("{name:?} is not UTF-8 text"),
            "save it as UTF-8",
        )
    })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

fn node_order(
    field: &str,
    rows: &[Vec<f64>],
    down: RowsAxis,
    axes: &Axes,
) -> Result<Vec<f64>, FieldError> {
    let (speeds, plates) = (axes.rpm.len(), axes.plate_percent.len());
    let (row_count, column_count, words) = match down {
        RowsAxis::Plate => (plates, speeds, "plate angles down, rpm across"),
        RowsAxis::Rpm => (speeds, plates, "rpm down, plate angles across"),
    };
    if rows.len() != row_count {
        return Err(FieldError::new(
            field,
            format!("has {} rows", rows.len()),
            format!("give {row_count} rows of {column_count} values ({words})"),
        ));
    }
    if let Some(index) = rows.iter().position(|row| row.len() != column_count) {
        return Err(FieldError::new(
            format!("{field}[{index}]"),
            format!("has {} values", rows[index].len()),
            format!("give {row_count} rows of {column_count} values ({words})"),
        ));
    }
    Ok(match down {
        RowsAxis::Plate => rows.concat(),
        RowsAxis::Rpm => (0..plates)
            .flat_map(|plate| rows.iter().map(move |row| row[plate]))
            .collect(),
    })
}

/// Reads a table CSV: the first row is a label and the axis across, the first column the axis down.
fn csv_rows(
    name: &str,
    text: &str,
    down: RowsAxis,
    axes: &Axes,
) -> Result<Vec<Vec<f64>>, FieldError> {
    let (rpm, plate) = (axes.rpm.breakpoints(), axes.plate_percent.breakpoints());
    let (across_axis, down_axis) = match down {
        RowsAxis::Plate => (rpm, plate),
        RowsAxis::Rpm => (plate, rpm),
    };
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    for (index, record) in reader.records().enumerate() {
        let record = record.map_err(|error| {
            FieldError::new(name, error.to_string(), "save the table as plain CSV")
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        let place = format!("{name}, line {line}");
        let numbers = numbers(&place, record.iter().skip(1))?;
        if index == 0 {
            same_axis(&place, &numbers, across_axis)?;
            continue;
        }
        let Some(&expected) = down_axis.get(index - 1) else {
            return Err(FieldError::new(
                place,
                format!(
                    "is one row more than the axis has breakpoints ({})",
                    down_axis.len()
                ),
                "make the rows match the axes of the job file",
            ));
        };
        let label = record.get(0).unwrap_or_default();
        if label.parse::<f64>().ok() != Some(expected) {
            return Err(FieldError::new(
                place,
                format!("begins with {label:?} where the axis has {expected}"),
                "make the rows match the axes of the job file",
            ));
        }
        rows.push(numbers);
    }
    Ok(rows)
}

fn numbers<'a>(place: &str, cells: impl Iterator<Item = &'a str>) -> Result<Vec<f64>, FieldError> {
    cells
        .enumerate()
        .map(|(index, cell)| {
            cell.parse::<f64>()
                .ok()
                .filter(|value| value.is_finite())
                .ok_or_else(|| {
                    FieldError::new(
                        format!("{place}, column {}", index + 2),
                        format!("{cell:?} is not a number"),
                        "write plain numbers with a decimal point",
                    )
                })
        })
        .collect()
}

fn same_axis(place: &str, found: &[f64], expected: &[f64]) -> Result<(), FieldError> {
    if found == expected {
        return Ok(());
    }
    Err(FieldError::new(
        place,
        format!("has the axis {found:?} where the job file has {expected:?}"),
        "make the first row match the axes of the job file",
    ))
}
