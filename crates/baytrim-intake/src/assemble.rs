//! Makes samples of rows of raw numbers, whatever file they come from.

mod column;

use std::collections::BTreeMap;

use baytrim_model::channel::{Channel, ChannelMap, Quantity, Unit};
use baytrim_model::engine::Fuel;
use baytrim_model::pull::PullWarning;
use baytrim_model::samples::Samples;

use crate::clock::{Clock, ClockFault};
use crate::error::IntakeError;
use crate::limits::LogLimits;
use crate::place::CellPlace;
use crate::plausible::clock_doubt;
use crate::report::{ChannelReport, ClockReport};
use crate::units::convert;
use column::{Column, Context, is_trim};

/// Samples in the making.
pub(crate) struct Assembler<'a> {
    source_name: &'a str,
    map: &'a ChannelMap,
    fuel: &'a Fuel,
    rows_max: usize,
    duration_s_max: f64,
    clock: Clock,
    columns: Vec<Column<'a>>,
}

/// Samples, and what of the report does not depend on the kind of file.
pub(crate) struct Assembled {
    pub samples: Samples,
    pub channels: BTreeMap<Quantity, ChannelReport>,
    pub clock: ClockReport,
    pub warnings: Vec<PullWarning>,
}

impl<'a> Assembler<'a> {
    /// Returns an assembler of the channels of `map` that the log has, in the order of the map.
    pub(crate) fn new(
        source_name: &'a str,
        map: &'a ChannelMap,
        fuel: &'a Fuel,
        limits: &LogLimits,
        has: impl Fn(&Channel) -> bool,
    ) -> Self {
        let present = map.channels.iter().filter(|(_, channel)| has(channel));
        let columns = present.map(|(&quantity, channel)| {
            let (low, high) = quantity.believable();
            Column {
                quantity,
                channel,
                low,
                high,
                values: Vec::new(),
                standing_count: 0,
            }
        });
        Self {
            source_name,
            map,
            fuel,
            rows_max: limits.rows_max,
            duration_s_max: limits.duration_s_max,
            clock: Clock::new(&map.time, limits.duration_s_max),
            columns: columns.collect(),
        }
    }

    /// Returns the channels that rows must hold, in their order.
    pub(crate) fn channels(&self) -> impl Iterator<Item = &'a Channel> {
        self.columns.iter().map(|column| column.channel)
    }

    /// Takes one row: its time as logged, and a raw number per channel, NaN for no reading.
    pub(crate) fn push(&mut self, row: u64, time: f64, raw: &[f64]) -> Result<(), IntakeError> {
        debug_assert_eq!(raw.len(), self.columns.len(), "one number per channel");
        if self.clock.row_count() >= self.rows_max {
            return Err(IntakeError::TooManyRows {
                source_name: self.source_name.to_owned(),
                rows_max: self.rows_max,
            });
        }
        if !time.is_finite() {
            let column = self.map.time.column.as_deref().unwrap_or("time").trim();
            return Err(IntakeError::TimeMissing {
                place: CellPlace {
                    source_name: self.source_name.to_owned(),
                    row,
                    column: column.to_owned(),
                },
            });
        }
        self.clock
            .push(time)
            .map_err(|fault| self.clock_error(row, time, fault))?;
        for (column, &raw) in self.columns.iter_mut().zip(raw) {
            let value = if raw.is_nan() {
                f64::NAN
            } else {
                let scaled = column.channel.scaled(raw);
                let value = convert(column.quantity, column.channel.unit, scaled, self.fuel);
                let value = column.standing(value);
                if !(column.low..=column.high).contains(&value) {
                    return Err(column.out_of_range(self.source_name, row, raw, value));
                }
                value
            };
            column.values.push(value);
        }
        Ok(())
    }

    fn clock_error(&self, row: u64, value: f64, fault: ClockFault) -> IntakeError {
        let time = &self.map.time;
        let place = CellPlace {
            source_name: self.source_name.to_owned(),
            row,
            column: time.column.as_deref().unwrap_or("time").trim().to_owned(),
        };
        match fault {
            ClockFault::Backwards { before } => IntakeError::ClockBackwards {
                place,
                value,
                before,
            },
            ClockFault::Repeated => IntakeError::TimeRepeated { place, value },
            ClockFault::Stuck { row_count } => IntakeError::ClockStuck {
                place,
                value,
                row_count,
            },
            ClockFault::TooLong { elapsed_s } => IntakeError::ClockTooLong {
                place,
                value,
                elapsed_s,
                duration_s_max: self.duration_s_max,
                remedy: if time.unit == Unit::S {
                    "where the column counts milliseconds, write unit = \"ms\" under [time]; else the clock jumped: cut the log there"
                } else {
                    "the clock jumped: cut the log there"
                },
            },
        }
    }

    /// Returns the samples. `last_row` is that of the last row and `last_time` its time, for messages.
    pub(crate) fn finish(self, last_row: u64, last_time: f64) -> Result<Assembled, IntakeError> {
        let row_count = self.clock.row_count();
        let template = self.clock_error(last_row, last_time, ClockFault::Repeated);
        let (offset_s, clock) = match self.clock.finish() {
            Ok(done) => done,
            Err(ClockFault::Stuck { row_count }) => {
                return Err(stuck(template, row_count));
            }
            Err(_) => return Err(template),
        };
        let time = &self.map.time;
        if let Some(column) = &time.column
            && let Some(doubt) = clock_doubt(time.unit, clock.median_rate_hz, row_count)
        {
            return Err(IntakeError::UnitDoubtful {
                source_name: self.source_name.to_owned(),
                column: column.trim().to_owned(),
                unit: time.unit,
                finding: doubt.finding,
                remedy: doubt.remedy.to_owned(),
            });
        }
        let mut warnings = Vec::new();
        warn_of_clock(&clock, row_count, &mut warnings);
        let mut channels = BTreeMap::new();
        let mut samples = Samples {
            offset_s,
            channels: BTreeMap::new(),
        };
        let is_without_trims = no_trim_at_all(&self.columns);
        let rpm_high = highest_rpm(&self.columns);
        for column in self.columns {
            let context = Context {
                source_name: self.source_name,
                evidence: self.map.evidence,
                is_without_trims,
                rpm_high,
            };
            let report = column.report(&context, &mut warnings)?;
            channels.insert(column.quantity, report);
            samples.channels.insert(column.quantity, column.values);
        }
        Ok(Assembled {
            samples,
            channels,
            clock,
            warnings,
        })
    }
}

fn stuck(template: IntakeError, row_count: u64) -> IntakeError {
    match template {
        IntakeError::TimeRepeated { place, value } => IntakeError::ClockStuck {
            place,
            value,
            row_count,
        },
        other => other,
    }
}

fn no_trim_at_all(columns: &[Column<'_>]) -> bool {
    columns
        .iter()
        .filter(|column| is_trim(column.quantity))
        .all(|column| column.values.iter().all(|value| value.is_nan()))
}

/// Returns the highest engine speed, 0 where none was read.
fn highest_rpm(columns: &[Column<'_>]) -> f64 {
    columns
        .iter()
        .filter(|column| column.quantity == Quantity::EngineSpeed)
        .flat_map(|column| column.values.iter().copied())
        .fold(0.0, f64::max)
}

fn warn_of_clock(clock: &ClockReport, row_count: usize, warnings: &mut Vec<PullWarning>) {
    if clock.repeated_count > 0 {
        warnings.push(PullWarning {
            code: "times_spread".to_owned(),
            message: format!(
                "{} of {row_count} rows share the time of the row above and were spread evenly until the next tick, so that times are uncertain by up to one tick",
                clock.repeated_count
            ),
        });
    }
    if let Some(bunch_rows) = clock.bunch_rows
        && clock.repeated_count == 0
    {
        warnings.push(PullWarning {
            code: "rows_bunched".to_owned(),
            message: format!(
                "rows come in bunches of about {bunch_rows:.0} that share a moment, as a bus delivers them, and were taken at their times all the same; where they were measured evenly, write repeated = \"spread\" under [time]"
            ),
        });
    }
    let interval_s = 1.0 / clock.median_rate_hz;
    if clock.gap_s_max > 1.0 && clock.gap_s_max > 10.0 * interval_s {
        warnings.push(PullWarning {
            code: "gap".to_owned(),
            message: format!(
                "the log pauses for {:.3} s after sample {}; readings on both sides of a pause are not joined",
                clock.gap_s_max, clock.gap_sample
            ),
        });
    }
}
