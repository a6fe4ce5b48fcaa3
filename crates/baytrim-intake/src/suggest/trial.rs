//! Reads what was looked at under the proposed map.

use baytrim_model::channel::ChannelMap;
use baytrim_model::engine::Fuel;

use super::table::{RawColumn, RawTable};
use crate::assemble::Assembler;
use crate::error::IntakeError;
use crate::limits::LogLimits;

/// Reads the rows of `table` under `map`.
///
/// # Errors
/// As [`read_log`](crate::read_log) would return.
pub(super) fn read(
    table: &RawTable,
    map: &ChannelMap,
    source_name: &str,
    limits: &LogLimits,
) -> Result<(), IntakeError> {
    // Which ratio an AFR is read with moves no reading from believable to not.
    let fuel = Fuel {
        name: "petrol".to_owned(),
        stoichiometric_afr: 14.7,
    };
    let find = |column: &str| {
        table
            .columns
            .iter()
            .find(|known| known.name.trim() == column)
    };
    let mut assembler = Assembler::new(source_name, map, &fuel, limits, |channel| {
        find(&channel.column).is_some()
    });
    let columns: Vec<(&RawColumn, &[f64])> = assembler
        .channels()
        .filter_map(|channel| Some((find(&channel.column)?, channel.no_reading.as_slice())))
        .collect();
    let time = map.time.column.as_deref().and_then(find);
    let mut raw = Vec::new();
    let mut last = (0, 0.0);
    for (index, &row) in table.rows.iter().enumerate() {
        let now = time.map_or(0.0, |time| time.values[index]);
        raw.clear();
        raw.extend(columns.iter().map(|(column, no_reading)| {
            let value = column.values[index];
            if no_reading.contains(&value) {
                f64::NAN
            } else {
                value
            }
        }));
        assembler.push(row, now, &raw)?;
        last = (row, now);
    }
    assembler.finish(last.0, last.1).map(|_| ())
}
