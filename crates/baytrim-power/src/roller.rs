//! Power at the roller, from its torque or from what it takes to speed it up.
//!
//! Power at the roller is what the tyre hands over: losses of gearbox, chain and tyre are not added back,
//! because no run at the roller alone can tell them from the engine's own.

use std::f64::consts::TAU;

use crate::slope::{LocalLine, local_lines};

/// One run on the roller, row by row; all columns have one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RollerTrace {
    /// Seconds since the run began, strictly increasing.
    pub offset_s: Vec<f64>,
    /// Engine speed, rpm.
    pub engine_speed_rpm: Vec<f64>,
    /// Roller speed, rpm.
    pub roller_speed_rpm: Vec<f64>,
    /// Plate opening, percent.
    pub plate_angle_percent: Vec<f64>,
}

/// Why a run cannot be turned into power.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RollerError {
    /// The columns differ in length.
    #[error(
        "{column} has {found} rows where the clock has {expected}; give each column one value a row"
    )]
    Length {
        /// The column.
        column: &'static str,
        /// Its rows.
        found: usize,
        /// Rows of the clock.
        expected: usize,
    },
    /// The clock does not go on.
    #[error(
        "row {row}: the clock does not go on from the row above; sort the run, or cut it there"
    )]
    Clock {
        /// The row, from 0.
        row: usize,
    },
    /// The roller's inertia is none.
    #[error("a roller inertia of {0} kg m2 is not above 0; take it from the roller's plate")]
    Inertia(f64),
    /// The window is none.
    #[error("a smoothing window of {0} s is not above 0; 0.2 to 0.5 s is usual")]
    Window(f64),
}

/// Power at one moment of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerRow {
    /// Seconds since the run began.
    pub offset_s: f64,
    /// Engine speed, rpm, smoothed like the power.
    pub engine_speed_rpm: f64,
    /// Least plate opening within the window, percent: power that was smoothed over a moment of part load is none of
    /// full load.
    pub plate_angle_percent: f64,
    /// Power at the roller, kilowatt, uncorrected.
    pub power_kw: f64,
    /// Its standard error by the scatter of the readings within the window, kilowatt; errors of inertia and torque
    /// meter are no part of it.
    pub power_error_kw: f64,
}

impl RollerTrace {
    fn check(&self, window_s: f64) -> Result<(), RollerError> {
        let expected = self.offset_s.len();
        for (column, found) in [
            ("engine_speed_rpm", self.engine_speed_rpm.len()),
            ("roller_speed_rpm", self.roller_speed_rpm.len()),
            ("plate_angle_percent", self.plate_angle_percent.len()),
        ] {
            check_length(column, found, expected)?;
        }
        let back = self
            .offset_s
            .windows(2)
            .position(|pair| pair[1].partial_cmp(&pair[0]) != Some(std::cmp::Ordering::Greater));
        if let Some(row) = back {
            return Err(RollerError::Clock { row: row + 1 });
        }
        if !(window_s > 0.0 && window_s.is_finite()) {
            return Err(RollerError::Window(window_s));
        }
        Ok(())
    }

    /// Returns the least plate opening within half of `window_s` on either side of a row; NaN where one has no reading.
    fn least_plate(&self, row: usize, window_s: f64) -> f64 {
        let reach_s = 0.5 * window_s * (1.0 + 1e-9);
        let here = self.offset_s[row];
        let begin = self
            .offset_s
            .partition_point(|&offset| offset < here - reach_s);
        let end = self
            .offset_s
            .partition_point(|&offset| offset <= here + reach_s);
        let plates = &self.plate_angle_percent[begin..end];
        if plates.iter().any(|plate| plate.is_nan()) {
            return f64::NAN;
        }
        plates.iter().copied().fold(f64::INFINITY, f64::min)
    }

    fn rows(&self, window_s: f64, power_w: impl Fn(usize) -> Option<(f64, f64)>) -> Vec<PowerRow> {
        let speed = local_lines(&self.offset_s, &self.engine_speed_rpm, window_s);
        let row = |row: usize| {
            let (power_w, error_w) = power_w(row)?;
            Some(PowerRow {
                offset_s: self.offset_s[row],
                engine_speed_rpm: speed[row]?.value,
                plate_angle_percent: self.least_plate(row, window_s),
                power_kw: power_w / 1000.0,
                power_error_kw: error_w / 1000.0,
            })
        };
        (0..self.offset_s.len()).filter_map(row).collect()
    }
}

fn check_length(column: &'static str, found: usize, expected: usize) -> Result<(), RollerError> {
    if found != expected {
        return Err(RollerError::Length {
            column,
            found,
            expected,
        });
    }
    Ok(())
}

/// Returns the power of a run from the roller's torque in Nm, smoothed over `window_s` seconds:
/// P = M omega.
///
/// # Errors
/// Where columns do not fit each other or the window is none.
pub fn power_from_torque(
    trace: &RollerTrace,
    roller_torque_nm: &[f64],
    window_s: f64,
) -> Result<Vec<PowerRow>, RollerError> {
    trace.check(window_s)?;
    check_length(
        "roller_torque_nm",
        roller_torque_nm.len(),
        trace.offset_s.len(),
    )?;
    let power_w: Vec<f64> = roller_torque_nm
        .iter()
        .zip(&trace.roller_speed_rpm)
        .map(|(torque, speed)| torque * speed * TAU / 60.0)
        .collect();
    let smooth = local_lines(&trace.offset_s, &power_w, window_s);
    let power_w = |row: usize| {
        let line = smooth[row]?;
        Some((line.value, line.value_error))
    };
    Ok(trace.rows(window_s, power_w))
}

/// Returns the power that speeds up a roller of `inertia_kg_m2`, smoothed over `window_s` seconds:
/// P = J omega d(omega)/dt. What turns with the wheel is no part of it.
///
/// # Errors
/// Where columns do not fit each other, or inertia or window are none.
pub fn power_from_inertia(
    trace: &RollerTrace,
    inertia_kg_m2: f64,
    window_s: f64,
) -> Result<Vec<PowerRow>, RollerError> {
    trace.check(window_s)?;
    if !(inertia_kg_m2 > 0.0 && inertia_kg_m2.is_finite()) {
        return Err(RollerError::Inertia(inertia_kg_m2));
    }
    let lines = local_lines(&trace.offset_s, &trace.roller_speed_rpm, window_s);
    let power_w = |row: usize| {
        let LocalLine {
            value,
            slope_per_s,
            slope_error,
            ..
        } = lines[row]?;
        let per_slope = inertia_kg_m2 * value * (TAU / 60.0).powi(2);
        // The speed itself is known far better than its slope.
        Some((per_slope * slope_per_s, (per_slope * slope_error).abs()))
    };
    Ok(trace.rows(window_s, power_w))
}

/// Returns the torque in Nm at the engine's speed that goes with a power: M = P / omega.
pub fn torque_nm(power_kw: f64, engine_speed_rpm: f64) -> f64 {
    power_kw * 60_000.0 / (TAU * engine_speed_rpm)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(rpm_per_s: f64) -> RollerTrace {
        let offset_s: Vec<f64> = (0..500).map(|row| f64::from(row) / 100.0).collect();
        let engine_speed_rpm: Vec<f64> = offset_s.iter().map(|s| 3000.0 + 1200.0 * s).collect();
        RollerTrace {
            roller_speed_rpm: offset_s.iter().map(|s| 500.0 + rpm_per_s * s).collect(),
            plate_angle_percent: vec![100.0; offset_s.len()],
            engine_speed_rpm,
            offset_s,
        }
    }

    /// If this fails, power is off by a constant or by the rotation's units.
    ///
    /// Handbook mechanics: the work put into a roller is the gain of J omega^2 / 2, so that the integral of
    /// power over time must be that, whatever the way of differentiating.
    #[test]
    fn work_is_the_gain_of_the_rollers_energy() {
        let inertia = 12.0;
        let rows = power_from_inertia(&run(150.0), inertia, 0.2).unwrap();
        let work_kj: f64 = rows
            .windows(2)
            .map(|pair| {
                0.5 * (pair[0].power_kw + pair[1].power_kw) * (pair[1].offset_s - pair[0].offset_s)
            })
            .sum();
        let omega = |row: &PowerRow| (500.0 + 150.0 * row.offset_s) * TAU / 60.0;
        let energy_kj = |row: &PowerRow| 0.5 * inertia * omega(row).powi(2) / 1000.0;
        let gain_kj = energy_kj(&rows[rows.len() - 1]) - energy_kj(&rows[0]);
        assert!(
            (work_kj / gain_kj - 1.0).abs() < 1e-9,
            "{work_kj} {gain_kj}"
        );
    }

    /// If this fails, the two ways to power disagree on one run: the torque that a constant
    /// acceleration takes is J alpha.
    #[test]
    fn torque_and_inertia_agree() {
        let trace = run(150.0);
        let torque = vec![12.0 * 150.0 * TAU / 60.0; trace.offset_s.len()];
        let by_torque = power_from_torque(&trace, &torque, 0.2).unwrap();
        let by_inertia = power_from_inertia(&trace, 12.0, 0.2).unwrap();
        assert_eq!(by_torque.len(), 480);
        for (a, b) in by_torque.iter().zip(&by_inertia) {
            assert!((a.power_kw / b.power_kw - 1.0).abs() < 1e-9, "{a:?} {b:?}");
        }
    }

    /// If this fails, torque does not fit power: 9549 is the handbook's constant of Nm rpm in a kilowatt.
    #[test]
    fn torque_is_power_over_speed() {
        assert!((torque_nm(1.0, 1.0) - 9549.3).abs() < 0.01);
        assert!((torque_nm(70.0, 7000.0) - 95.493).abs() < 1e-3);
    }

    /// If this fails, rows whose window reaches into part load count as full load, and a curve begins and ends too low.
    #[test]
    fn windows_that_reach_into_part_load_are_part_load() {
        let mut trace = run(150.0);
        trace.plate_angle_percent[100] = 30.0;
        trace.plate_angle_percent[300] = f64::NAN;
        let rows = power_from_inertia(&trace, 12.0, 0.2).unwrap();
        let is_part_load =
            |row: &&PowerRow| row.plate_angle_percent.is_nan() || row.plate_angle_percent < 95.0;
        let left_out = rows.iter().filter(is_part_load);
        let places: Vec<f64> = left_out.map(|row| row.offset_s).collect();
        assert_eq!(
            places.len(),
            42,
            "a fifth of a second about each: {places:?}"
        );
        assert!((places[0] - 0.9).abs() < 1e-9 && (places[20] - 1.1).abs() < 1e-9);
    }

    /// If this fails, a run that does not fit itself gives power all the same.
    #[test]
    fn runs_that_do_not_fit_are_refused() {
        let mut trace = run(150.0);
        assert_eq!(
            power_from_inertia(&trace, 0.0, 0.2),
            Err(RollerError::Inertia(0.0))
        );
        assert_eq!(
            power_from_inertia(&trace, 1.0, 0.0),
            Err(RollerError::Window(0.0))
        );
        assert!(matches!(
            power_from_torque(&trace, &[1.0], 0.2),
            Err(RollerError::Length { .. })
        ));
        trace.offset_s[7] = trace.offset_s[6];
        assert_eq!(
            power_from_inertia(&trace, 1.0, 0.2),
            Err(RollerError::Clock { row: 7 })
        );
    }
}
