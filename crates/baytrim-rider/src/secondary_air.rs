//! Whether fresh air goes into the exhaust, found by what the log shows.

use std::collections::BTreeMap;

use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;
use baytrim_power::student::quantile;

/// Size of the cells in which lambda with and without air is compared, rpm and percent of plate.
const CELL: (f64, f64) = (500.0, 5.0);

/// Fewest rows on either side of a cell.
const ROWS_MIN: usize = 10;

/// A valve that makes less of a difference than this in log lambda is shut or blocked: 2 % of air in the gas
/// make 2.3 %.
const SHIFT_MIN: f64 = 0.02;

/// On an overrun with fuel known to flow: leaner is air, richer is none. Common practice.
const AIR_LAMBDA_MIN: f64 = 1.15;
const NO_AIR_LAMBDA_MAX: f64 = 1.08;

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SecondaryAir {
    /// Air goes into the exhaust.
    Active {
        /// Log lambda that it adds where the flag is on, with its 95 % interval; none where overruns tell.
        shift: Option<(f64, f64, f64)>,
    },
    /// The valve is driven, and no air comes: blocked, or the valve is stuck.
    DrivenWithoutAir,
    /// Fuel flows on the overrun, and no air is beside it: none is fitted, or it is blocked.
    NotActive,
    /// The log does not tell.
    NotSeen,
}

/// Returns whether air goes into the exhaust in `samples`: by lambda with the valve's flag on against off at like
/// places, or on overruns in which the flag of the fuel cut says that fuel flows.
pub fn secondary_air(samples: &Samples) -> SecondaryAir {
    if let Some((shift, low, high)) = shift_by_flag(samples) {
        if low > 0.0 && shift >= SHIFT_MIN {
            return SecondaryAir::Active {
                shift: Some((shift, low, high)),
            };
        }
        if high < SHIFT_MIN {
            return SecondaryAir::DrivenWithoutAir;
        }
    }
    match overrun_lambda(samples) {
        Some(lambda) if lambda >= AIR_LAMBDA_MIN => SecondaryAir::Active { shift: None },
        Some(lambda) if lambda <= NO_AIR_LAMBDA_MAX => SecondaryAir::NotActive,
        _ => SecondaryAir::NotSeen,
    }
}

/// Returns the mean difference over cells and its interval; none with fewer than three cells.
fn shift_by_flag(samples: &Samples) -> Option<(f64, f64, f64)> {
    let [rpm, plate, lambda, flag] = [
        samples.channel(Quantity::EngineSpeed)?,
        samples.channel(Quantity::PlateAngle)?,
        samples.channel(Quantity::Lambda)?,
        samples.channel(Quantity::SecondaryAir)?,
    ];
    let mut cells: BTreeMap<(i64, i64), [(usize, f64); 2]> = BTreeMap::new();
    for row in 0..samples.len() {
        let is_told = [rpm, plate, lambda, flag]
            .iter()
            .all(|channel| channel[row].is_finite());
        if !is_told || lambda[row] <= 0.0 || lambda[row] > 1.5 {
            continue;
        }
        #[expect(clippy::cast_possible_truncation, reason = "cells are few")]
        let cell = ((rpm[row] / CELL.0) as i64, (plate[row] / CELL.1) as i64);
        let side = &mut cells.entry(cell).or_default()[usize::from(flag[row] >= 0.5)];
        side.0 += 1;
        side.1 += lambda[row].ln();
    }
    let told = cells
        .values()
        .filter(|sides| sides.iter().all(|(count, _)| *count >= ROWS_MIN));
    let shifts: Vec<f64> = told
        .map(|[(off_count, off), (on_count, on)]| on / *on_count as f64 - off / *off_count as f64)
        .collect();
    let count = shifts.len() as f64;
    if shifts.len() < 3 {
        return None;
    }
    let mean = shifts.iter().sum::<f64>() / count;
    let squares: f64 = shifts.iter().map(|shift| (shift - mean).powi(2)).sum();
    let half = quantile(0.975, count - 1.0) * (squares / (count - 1.0) / count).sqrt();
    Some((mean, mean - half, mean + half))
}

/// Returns the middle lambda of overruns in which fuel is known to flow.
fn overrun_lambda(samples: &Samples) -> Option<f64> {
    let [rpm, plate, lambda, cut] = [
        samples.channel(Quantity::EngineSpeed)?,
        samples.channel(Quantity::PlateAngle)?,
        samples.channel(Quantity::Lambda)?,
        samples.channel(Quantity::FuelCut)?,
    ];
    let mut since_s = None;
    let mut readings = Vec::new();
    for (row, &offset_s) in samples.offset_s.iter().enumerate() {
        let is_fed_overrun = plate[row] <= 2.0 && rpm[row] >= 1_500.0 && cut[row] < 0.5;
        if !is_fed_overrun {
            since_s = None;
        } else if offset_s - *since_s.get_or_insert(offset_s) >= 0.8 && lambda[row].is_finite() {
            readings.push(lambda[row]);
        }
    }
    readings.sort_by(f64::total_cmp);
    (readings.len() >= 2 * ROWS_MIN).then(|| readings[readings.len() / 2])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::overrun::tests::ride;

    /// A ride over eight cells with the valve driven every other second; open, it adds `shift` to log lambda.
    fn driven(shift: f64) -> Samples {
        let rows = 0..1600_i32;
        let flag: Vec<f64> = rows.clone().map(|row| f64::from((row / 20) % 2)).collect();
        let noise = |row: i32| 0.002 * f64::from((row * 7) % 13 - 6) / 6.0;
        let lambda = rows
            .clone()
            .zip(&flag)
            .map(|(row, on)| 0.95 * (on * shift + noise(row)).exp());
        Samples {
            offset_s: rows.clone().map(|row| f64::from(row) / 20.0).collect(),
            channels: BTreeMap::from([
                (
                    Quantity::EngineSpeed,
                    rows.clone()
                        .map(|row| 1250.0 + 500.0 * f64::from(row / 200))
                        .collect(),
                ),
                (Quantity::PlateAngle, rows.map(|_| 7.0).collect()),
                (Quantity::Lambda, lambda.collect()),
                (Quantity::SecondaryAir, flag),
            ]),
        }
    }

    /// If this fails, a valve that blows is missed, its size is wrong, or one that is blanked off passes for working.
    #[test]
    fn a_driven_valve_is_told_from_a_blocked_one() {
        match secondary_air(&driven(0.06)) {
            SecondaryAir::Active {
                shift: Some((shift, low, high)),
            } => {
                assert!(
                    (shift - 0.06).abs() < 0.002 && low <= 0.0605 && high >= 0.0595,
                    "{shift} {low} {high}"
                );
            }
            other => panic!("{other:?}"),
        }
        assert_eq!(secondary_air(&driven(0.0)), SecondaryAir::DrivenWithoutAir);
    }

    /// If this fails, reeds without a flag go unnoticed on overruns with fuel, or lambda alone is believed where fuel
    /// may be cut.
    #[test]
    fn overruns_with_fuel_tell_without_the_valves_flag() {
        let with_flag = |lambda: f64, cut: f64| {
            let mut samples = ride(|_| lambda);
            let count = samples.len();
            samples.channels.insert(Quantity::FuelCut, vec![cut; count]);
            secondary_air(&samples)
        };
        assert_eq!(with_flag(1.3, 0.0), SecondaryAir::Active { shift: None });
        assert_eq!(with_flag(0.97, 0.0), SecondaryAir::NotActive);
        assert_eq!(with_flag(1.1, 0.0), SecondaryAir::NotSeen);
        assert_eq!(with_flag(8.0, 1.0), SecondaryAir::NotSeen);
        assert_eq!(secondary_air(&ride(|_| 1.3)), SecondaryAir::NotSeen);
    }
}
