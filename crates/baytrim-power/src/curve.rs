//! Power and torque over engine speed, uncorrected beside corrected.

use crate::roller::{PowerRow, torque_nm};
use crate::standard::Correction;

/// Below this plate opening a row is not at full load, percent; common practice.
pub const FULL_LOAD_PLATE_PERCENT_MIN: f64 = 95.0;

/// Fewest rows that make a point.
const ROWS_MIN: usize = 3;

/// Power and torque at one engine speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Engine speed, rpm.
    pub engine_speed_rpm: f64,
    /// Power at the roller as measured, kilowatt.
    pub power_kw: f64,
    /// Its standard error by the scatter of the readings: that of one window, though a band may hold several.
    pub power_error_kw: f64,
    /// Torque at the engine's speed as measured, Nm.
    pub torque_nm: f64,
    /// Power at standard air, kilowatt.
    pub corrected_power_kw: f64,
    /// Torque at standard air, Nm.
    pub corrected_torque_nm: f64,
    /// Rows that it was averaged from.
    pub row_count: usize,
}

/// The curve of one pull.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerCurve {
    /// The points, slowest first.
    pub points: Vec<CurvePoint>,
    /// What the corrected columns were multiplied by, and whether the standard covers the day.
    pub correction: Correction,
    /// Width of the band of speeds that each point averages, rpm.
    pub band_rpm: f64,
    /// Rows left out because the plate was not open.
    pub part_load_count: usize,
}

/// Returns the points at whole multiples of `band_rpm`, each the mean of the rows at full load within half a
/// band of it. Bands with fewer than three rows have no point.
///
/// # Panics
/// Where `band_rpm` is not above 0.
pub fn power_curve(rows: &[PowerRow], correction: Correction, band_rpm: f64) -> PowerCurve {
    assert!(band_rpm > 0.0, "a band of speeds has a width");
    let mut bands: std::collections::BTreeMap<i64, (usize, f64, f64)> =
        std::collections::BTreeMap::new();
    let is_full = |row: &&PowerRow| row.plate_angle_percent >= FULL_LOAD_PLATE_PERCENT_MIN;
    let full_count = rows.iter().filter(is_full).count();
    for row in rows.iter().filter(is_full) {
        #[expect(clippy::cast_possible_truncation, reason = "speeds are far below 2^63")]
        let band = (row.engine_speed_rpm / band_rpm).round() as i64;
        let (count, sum, squares) = bands.entry(band).or_default();
        *count += 1;
        // The torque is what is even across a band; power rises with speed.
        *sum += torque_nm(row.power_kw, row.engine_speed_rpm);
        *squares += row.power_error_kw.powi(2);
    }
    let point = |(band, (count, sum, squares)): (i64, (usize, f64, f64))| {
        let engine_speed_rpm = band as f64 * band_rpm;
        let torque = sum / count as f64;
        let power_kw = torque / torque_nm(1.0, engine_speed_rpm);
        (count >= ROWS_MIN && band > 0).then_some(CurvePoint {
            engine_speed_rpm,
            power_kw,
            power_error_kw: (squares / count as f64).sqrt(),
            torque_nm: torque,
            corrected_power_kw: power_kw * correction.factor,
            corrected_torque_nm: torque * correction.factor,
            row_count: count,
        })
    };
    PowerCurve {
        points: bands.into_iter().filter_map(point).collect(),
        correction,
        band_rpm,
        part_load_count: rows.len() - full_count,
    }
}

impl PowerCurve {
    /// Returns the point of most corrected power, none where there is no point.
    pub fn peak_power(&self) -> Option<CurvePoint> {
        let points = self.points.iter().copied();
        points.max_by(|a, b| a.corrected_power_kw.total_cmp(&b.corrected_power_kw))
    }

    /// Returns the point of most corrected torque, none where there is no point.
    pub fn peak_torque(&self) -> Option<CurvePoint> {
        let points = self.points.iter().copied();
        points.max_by(|a, b| a.corrected_torque_nm.total_cmp(&b.corrected_torque_nm))
    }

    /// Returns the mean of the logarithm of corrected power over `speeds_rpm`: one number a pull, by which
    /// pulls are compared. None where a speed has no point.
    pub fn mean_log_power(&self, speeds_rpm: &[f64]) -> Option<f64> {
        let mut sum = 0.0;
        for speed in speeds_rpm {
            let is_there = |point: &&CurvePoint| (point.engine_speed_rpm - speed).abs() < 1e-6;
            let point = self.points.iter().find(is_there)?;
            sum += (point.corrected_power_kw > 0.0).then(|| point.corrected_power_kw.ln())?;
        }
        (!speeds_rpm.is_empty()).then(|| sum / speeds_rpm.len() as f64)
    }
}

/// Returns the engine speeds at which every one of `curves` has a point, slowest first.
pub fn common_speeds(curves: &[&PowerCurve]) -> Vec<f64> {
    let Some((first, others)) = curves.split_first() else {
        return Vec::new();
    };
    let has = |curve: &&PowerCurve, speed: f64| {
        let points = curve.points.iter();
        points
            .clone()
            .any(|point| (point.engine_speed_rpm - speed).abs() < 1e-6)
    };
    let speeds = first.points.iter().map(|point| point.engine_speed_rpm);
    speeds
        .filter(|speed| others.iter().all(|curve| has(curve, *speed)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::AmbientAir;
    use crate::standard::{Standard, correct};

    fn rows(plate_angle_percent: f64) -> Vec<PowerRow> {
        (0..600)
            .map(|row| {
                let engine_speed_rpm = 3000.0 + 10.0 * f64::from(row);
                PowerRow {
                    offset_s: f64::from(row) / 100.0,
                    engine_speed_rpm,
                    plate_angle_percent,
                    power_kw: 60.0 / torque_nm(1.0, engine_speed_rpm),
                    power_error_kw: 0.0,
                }
            })
            .collect()
    }

    /// If this fails, averaging over a band bends the curve: an engine with 60 Nm everywhere must show 60 Nm
    /// everywhere, and the corrected column the standard's factor beside it.
    #[test]
    fn an_even_torque_stays_even() {
        let air = AmbientAir::new(98.0, 30.0, 0.6).unwrap();
        let curve = power_curve(&rows(100.0), correct(Standard::Iso1585, &air), 250.0);
        assert!(curve.points.len() > 20);
        for point in &curve.points {
            assert!((point.torque_nm - 60.0).abs() < 1e-9, "{point:?}");
            assert!((point.corrected_torque_nm / point.torque_nm - 1.05524).abs() < 1e-5);
        }
        let peak = curve.peak_power().unwrap();
        assert!((peak.engine_speed_rpm - 9000.0).abs() < 1e-9, "{peak:?}");
    }

    /// If this fails, a correction that holds at full load only is applied to part load.
    #[test]
    fn part_load_makes_no_curve() {
        let air = AmbientAir::new(98.0, 30.0, 0.6).unwrap();
        let curve = power_curve(&rows(60.0), correct(Standard::SaeJ1349, &air), 250.0);
        assert!(curve.points.is_empty() && curve.peak_power().is_none());
        assert_eq!(curve.part_load_count, 600);
    }
}
