//! One column of samples in the making.

use baytrim_model::channel::{Channel, EvidenceKind, Quantity};
use baytrim_model::pull::PullWarning;

use crate::clock::quantile;
use crate::error::{IntakeError, Misreading};
use crate::place::CellPlace;
use crate::plausible::{Spread, out_of_range_remedy, trim_oddity, unit_doubt};
use crate::report::{Alignment, ChannelReport};

/// An engine speed between this and 0 is the noise of a meter on a standing engine, rpm: analogue
/// pick-ups are seen to write down to -50.
const NOISE_RPM_MIN: f64 = -100.0;

/// A column in the making.
pub(super) struct Column<'a> {
    pub(super) quantity: Quantity,
    pub(super) channel: &'a Channel,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) values: Vec<f64>,
    /// Readings below 0 rpm that were taken for a standing engine.
    pub(super) standing_count: u64,
}

/// What a column is judged by, beside itself.
pub(super) struct Context<'a> {
    pub(super) source_name: &'a str,
    pub(super) evidence: EvidenceKind,
    pub(super) is_without_trims: bool,
    pub(super) rpm_high: f64,
}

impl Column<'_> {
    /// Returns `value`, or 0 where it is the noise of a meter on a standing engine.
    pub(super) fn standing(&mut self, value: f64) -> f64 {
        let is_noise = (NOISE_RPM_MIN..0.0).contains(&value);
        if self.quantity == Quantity::EngineSpeed && is_noise {
            self.standing_count += 1;
            return 0.0;
        }
        value
    }

    /// Returns why a reading is refused.
    pub(super) fn out_of_range(
        &self,
        source_name: &str,
        row: u64,
        raw: f64,
        converted: f64,
    ) -> IntakeError {
        let unit = self.channel.unit;
        let scaled = self.channel.scaled(raw);
        IntakeError::OutOfRange {
            place: CellPlace {
                source_name: source_name.to_owned(),
                row,
                column: self.channel.column.trim().to_owned(),
            },
            misreading: Box::new(Misreading {
                value: raw,
                scale: self.channel.scale,
                offset: self.channel.offset,
                points: self.channel.points,
                unit,
                quantity: self.quantity,
                converted,
            }),
            remedy: if self.channel.points.is_some() {
                "check the line's two points against the sensor; where the logger writes it for no reading, list it under no_reading".to_owned()
            } else {
                out_of_range_remedy(self.quantity, unit, scaled)
            },
        }
    }

    fn is_needed(&self, context: &Context<'_>) -> bool {
        let evidence = context.evidence;
        match self.quantity {
            Quantity::EngineSpeed | Quantity::PlateAngle => true,
            Quantity::Lambda => evidence != EvidenceKind::Trims,
            quantity if is_trim(quantity) => {
                evidence != EvidenceKind::Lambda && context.is_without_trims
            }
            _ => false,
        }
    }

    /// Returns what the column turned out to be.
    pub(super) fn report(
        &self,
        context: &Context<'_>,
        warnings: &mut Vec<PullWarning>,
    ) -> Result<ChannelReport, IntakeError> {
        let column = self.channel.column.trim().to_owned();
        let mut readings: Vec<f64> = self
            .values
            .iter()
            .copied()
            .filter(|value| !value.is_nan())
            .collect();
        let missing_count = (self.values.len() - readings.len()) as u64;
        if readings.is_empty() {
            if self.is_needed(context) {
                return Err(IntakeError::ChannelEmpty {
                    source_name: context.source_name.to_owned(),
                    column,
                    quantity: self.quantity,
                    row_count: missing_count,
                });
            }
            warnings.push(PullWarning {
                code: "channel_without_readings".to_owned(),
                message: format!(
                    "column \"{column}\" holds no reading of {}; check that its sensor was connected",
                    self.quantity
                ),
            });
            return Ok(ChannelReport {
                column,
                missing_count,
                low: None,
                median: None,
                high: None,
                resolution: None,
                hold_rows: None,
                alignment: Alignment::AsLogged,
            });
        }
        let (resolution, hold_rows) = graininess(&readings);
        let spread = Spread {
            low: readings.iter().copied().fold(f64::INFINITY, f64::min),
            median: quantile(&mut readings, 0.5),
            high: readings.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            count: readings.len() as u64,
        };
        let unit = self.channel.unit;
        if let Some(doubt) = unit_doubt(self.quantity, unit, spread, context.rpm_high) {
            return Err(IntakeError::UnitDoubtful {
                source_name: context.source_name.to_owned(),
                column,
                unit,
                finding: doubt.finding,
                remedy: doubt.remedy.to_owned(),
            });
        }
        if self.standing_count > 0 {
            warnings.push(PullWarning {
                code: "speed_below_zero".to_owned(),
                message: format!(
                    "{} readings of column \"{column}\" lie below 0 rpm by less than {}, as a meter's noise does while the engine stands: they count as 0",
                    self.standing_count, -NOISE_RPM_MIN
                ),
            });
        }
        warnings.extend(
            trim_oddity(self.quantity, unit, spread).map(|message| PullWarning {
                code: "trim_unit".to_owned(),
                message,
            }),
        );
        Ok(ChannelReport {
            column,
            missing_count,
            low: Some(spread.low),
            median: Some(spread.median),
            high: Some(spread.high),
            resolution,
            hold_rows: Some(hold_rows),
            alignment: Alignment::AsLogged,
        })
    }
}

/// Returns the smallest step between readings, and how many rows one of them lasts.
fn graininess(readings: &[f64]) -> (Option<f64>, f64) {
    let steps = readings.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let (mut least, mut change_count) = (f64::INFINITY, 0_u64);
    for step in steps.filter(|step| *step > 0.0) {
        least = least.min(step);
        change_count += 1;
    }
    let hold_rows = readings.len() as f64 / (change_count + 1) as f64;
    ((change_count > 0).then_some(least), hold_rows)
}

/// Returns whether a quantity is a closed-loop trim.
pub(super) fn is_trim(quantity: Quantity) -> bool {
    matches!(quantity, Quantity::ShortTermTrim | Quantity::LongTermTrim)
}
