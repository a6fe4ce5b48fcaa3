//! Whether fuel is cut on the overrun, found by what the log shows.

use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;

/// The plate is shut up to here, percent.
const SHUT_PLATE_PERCENT_MAX: f64 = 2.0;

/// The engine is not idling from here, rpm; common practice.
const OVERRUN_RPM_MIN: f64 = 1_500.0;

/// The old gas is out of the pipe and the sensor has followed so long after the plate was shut, seconds.
const SETTLE_S: f64 = 0.8;

/// A sensor in the tailpipe reads old gas for longer; up to this it is told from a cut that sets in late, seconds.
/// A cut ends as the engine slows and does not begin: what burned before air came in the same overrun was made
/// before it.
const OLD_GAS_S_MAX: f64 = 3.0;

/// Leaner is air, lambda; richer than the second burns. In between nothing is said. Common practice.
const AIR_LAMBDA_MIN: f64 = 1.5;
const BURNING_LAMBDA_MAX: f64 = 1.2;

/// Fewest rows on the overrun from which anything is said.
const ROWS_MIN: usize = 20;

/// Fuel that comes back below this is the ordinary way of every cut, rpm; common practice.
const RESUME_RPM_MAX: f64 = 2_500.0;

/// Share of rows that may lie on the wrong side of the engine speed at which fuel comes back: the sensor
/// follows late.
const STRAY_SHARE_MAX: f64 = 0.1;

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OverrunCut {
    /// Fuel is cut, and comes back below an engine speed between the two, rpm; none where the log never
    /// goes there.
    On {
        /// Fastest with fuel and slowest without.
        resumes_rpm: Option<(f64, f64)>,
    },
    /// Fuel is cut only above an engine speed between the two, rpm.
    Above {
        /// Fastest with fuel and slowest without.
        between_rpm: (f64, f64),
    },
    /// Fuel flows at every engine speed that the log has.
    Off,
    /// The log has no overrun that tells.
    NotSeen,
    /// Cut and fuel go together with no engine speed: something else decides.
    Unclear,
}

/// Returns whether fuel is cut on the overrun in `samples`: by the flag where it is logged, else by lambda.
///
/// By lambda, engine speeds come out too low by as much as the engine slows until the gas is read: a hundred or
/// two rpm with a sensor in the header, up to eight hundred with one in the tailpipe.
pub fn overrun_cut(samples: &Samples) -> OverrunCut {
    let rows = overrun_rows(samples);
    let (cut, fed): (Vec<_>, Vec<_>) = rows.into_iter().partition(|(_, is_cut)| *is_cut);
    let speeds = |rows: &[(f64, bool)]| -> Vec<f64> {
        let mut speeds: Vec<f64> = rows.iter().map(|(rpm, _)| *rpm).collect();
        speeds.sort_by(f64::total_cmp);
        speeds
    };
    let (cut, fed) = (speeds(&cut), speeds(&fed));
    let count = cut.len() + fed.len();
    if count < ROWS_MIN {
        return OverrunCut::NotSeen;
    }
    // Too few of one kind are the sensor's lateness.
    let few = STRAY_SHARE_MAX * 0.5 * count as f64;
    if (cut.len() as f64) < few {
        return OverrunCut::Off;
    }
    if (fed.len() as f64) < few {
        return OverrunCut::On { resumes_rpm: None };
    }
    let ((low, high), stray_count) = boundary(&cut, &fed);
    if stray_count as f64 > STRAY_SHARE_MAX * count as f64 {
        OverrunCut::Unclear
    } else if high > RESUME_RPM_MAX {
        OverrunCut::Above {
            between_rpm: (low, high),
        }
    } else {
        OverrunCut::On {
            resumes_rpm: Some((low, high)),
        }
    }
}

/// Returns engine speed and whether fuel is cut, of each row that tells.
fn overrun_rows(samples: &Samples) -> Vec<(f64, bool)> {
    let channel = |quantity| samples.channel(quantity);
    let (Some(rpm), Some(plate)) = (
        channel(Quantity::EngineSpeed),
        channel(Quantity::PlateAngle),
    ) else {
        return Vec::new();
    };
    let (flag, lambda) = (channel(Quantity::FuelCut), channel(Quantity::Lambda));
    let mut shut_since_s = None;
    // Where the rows of the overrun in hand begin, until air is read in it.
    let mut burning_from = None;
    let mut rows: Vec<(f64, bool)> = Vec::new();
    for (row, &offset_s) in samples.offset_s.iter().enumerate() {
        let is_overrun = plate[row] <= SHUT_PLATE_PERCENT_MAX && rpm[row] >= OVERRUN_RPM_MIN;
        if !is_overrun {
            shut_since_s = None;
            continue;
        }
        let since_s = *shut_since_s.get_or_insert_with(|| {
            burning_from = Some(rows.len());
            offset_s
        });
        if offset_s - since_s < SETTLE_S {
            continue;
        }
        let is_cut = match (flag, lambda) {
            (Some(flag), _) if !flag[row].is_nan() => Some(flag[row] >= 0.5),
            (_, Some(lambda)) if lambda[row] >= AIR_LAMBDA_MIN => Some(true),
            (_, Some(lambda)) if lambda[row] <= BURNING_LAMBDA_MAX => Some(false),
            _ => None,
        };
        if is_cut == Some(true)
            && let Some(from) = burning_from.take()
            && offset_s - since_s <= OLD_GAS_S_MAX
        {
            rows.truncate(from);
        }
        rows.extend(is_cut.map(|is_cut| (rpm[row], is_cut)));
    }
    rows
}

/// Returns the neighbouring speeds between which most fed rows are below and most cut rows above, and the count
/// of those on the wrong side. Both lists are sorted and not empty.
fn boundary(cut: &[f64], fed: &[f64]) -> ((f64, f64), usize) {
    let strays = |at: f64| {
        let cut_below = cut.partition_point(|&rpm| rpm < at);
        let fed_above = fed.len() - fed.partition_point(|&rpm| rpm < at);
        cut_below + fed_above
    };
    let best = cut
        .iter()
        .copied()
        .min_by_key(|&at| strays(at))
        .unwrap_or(cut[0]);
    let below = fed[..fed.partition_point(|&rpm| rpm < best)].last();
    ((below.copied().unwrap_or(best), best), strays(best))
}

#[cfg(test)]
pub(crate) mod tests {
    use std::collections::BTreeMap;

    use super::*;

    /// Four times from 8000 to 1600 rpm with the plate shut, the plate open for a second in between;
    /// `lambda_at` says what the sensor shows on the overrun.
    pub(crate) fn ride(lambda_at: impl Fn(f64) -> f64) -> Samples {
        let (mut offset_s, mut rpm, mut plate, mut lambda) = (vec![], vec![], vec![], vec![]);
        for row in 0..2000 {
            let place = f64::from(row % 500) / 500.0;
            let is_open = place < 0.1;
            let speed = if is_open {
                8000.0
            } else {
                8000.0 - 6400.0 * (place - 0.1) / 0.9
            };
            offset_s.push(f64::from(row) / 50.0);
            rpm.push(speed);
            plate.push(if is_open { 80.0 } else { 0.5 });
            lambda.push(if is_open { 0.88 } else { lambda_at(speed) });
        }
        Samples {
            offset_s,
            channels: BTreeMap::from([
                (Quantity::EngineSpeed, rpm),
                (Quantity::PlateAngle, plate),
                (Quantity::Lambda, lambda),
            ]),
        }
    }

    /// If this fails, a job is told of a cut that was taken out, or not of one that is there.
    #[test]
    fn each_kind_of_cut_is_told_by_lambda() {
        assert_eq!(overrun_cut(&ride(|_| 0.95)), OverrunCut::Off);
        assert_eq!(
            overrun_cut(&ride(|_| 8.0)),
            OverrunCut::On { resumes_rpm: None }
        );
        match overrun_cut(&ride(|rpm| if rpm > 2000.0 { 8.0 } else { 0.95 })) {
            OverrunCut::On {
                resumes_rpm: Some((low, high)),
            } => assert!(low <= 2000.0 && high >= 2000.0 && high - low < 40.0),
            other => panic!("{other:?}"),
        }
        match overrun_cut(&ride(|rpm| if rpm > 5000.0 { 8.0 } else { 0.95 })) {
            OverrunCut::Above {
                between_rpm: (low, high),
            } => assert!(low <= 5000.0 && high >= 5000.0 && high - low < 40.0),
            other => panic!("{other:?}"),
        }
        let by_gear = |rpm: f64| {
            if (rpm / 200.0).rem_euclid(2.0) < 1.0 {
                8.0
            } else {
                0.95
            }
        };
        assert_eq!(overrun_cut(&ride(by_gear)), OverrunCut::Unclear);
    }

    /// If this fails, a logged flag loses against lambda, which secondary air makes lean all the same.
    #[test]
    fn the_flag_counts_before_lambda() {
        let mut samples = ride(|_| 2.0);
        let count = samples.len();
        samples.channels.insert(Quantity::FuelCut, vec![0.0; count]);
        assert_eq!(overrun_cut(&samples), OverrunCut::Off);
    }

    /// If this fails, a log without an overrun passes for one with the cut taken out.
    #[test]
    fn a_log_without_overrun_says_nothing() {
        assert_eq!(overrun_cut(&Samples::default()), OverrunCut::NotSeen);
        assert_eq!(overrun_cut(&ride(|_| 1.35)), OverrunCut::NotSeen);
    }
}
