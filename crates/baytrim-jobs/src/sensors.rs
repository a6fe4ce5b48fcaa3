//! What several lambda sensors of one engine cost a shared table.
//!
//! The table meets their mean. Whether sensors or cylinders differ, no pull tells, so what they are apart by counts
//! as if sensors were wrong: with s the scatter between n of them, their mean is off by s / sqrt(n). That is never
//! less than one good sensor's error, since sensors of one make age together.

use baytrim_estimate::FitSettings;
use baytrim_model::pull::{PullRecord, SensorBand};

/// Error of the sensors' mean from which a proposal speaks of it, percent.
const NAMED_PERCENT: f64 = 1.5;
/// Most that counts, percent: beyond it a sensor has failed, and the pulls say so.
const PERCENT_MAX: f64 = 10.0;

/// Returns the error of the mean of the sensors, percent; 0 without bands.
fn error_percent(bands: &[SensorBand]) -> f64 {
    let time_s: f64 = bands.iter().map(|band| band.read_s).sum();
    let variance = |band: &SensorBand| {
        let count = band.leaner.len() as f64;
        let squares: f64 = band.leaner.iter().map(|one| one.percent.powi(2)).sum();
        squares / (count - 1.0).max(1.0) / count.max(1.0)
    };
    let weighted = bands.iter().map(|band| band.read_s * variance(band));
    (weighted.sum::<f64>() / time_s.max(1e-9)).sqrt()
}

fn widest<'a>(pulls: impl Iterator<Item = &'a PullRecord>) -> Option<(&'a PullRecord, f64)> {
    pulls
        .map(|pull| (pull, error_percent(&pull.summary.sensors)))
        .max_by(|(_, a), (_, b)| a.total_cmp(b))
}

/// Returns the settings of a fit of a job with these pulls.
pub(crate) fn settings<'a>(pulls: impl Iterator<Item = &'a PullRecord>) -> FitSettings {
    let usual = FitSettings::default();
    let found = widest(pulls).map_or(0.0, |(_, percent)| percent);
    FitSettings {
        sensor_percent: found.clamp(usual.sensor_percent, PERCENT_MAX),
        ..usual
    }
}

/// Returns what a proposal from these pulls says of sensors that are apart.
pub(crate) fn remark<'a>(pulls: impl Iterator<Item = &'a PullRecord>) -> Option<String> {
    let (pull, percent) = widest(pulls)?;
    (percent > NAMED_PERCENT).then(|| {
        format!(
            "The lambda sensors of {} are apart: the shared table meets their mean, which is taken to be good to \
             {:.1} % only; pull show says by how much each differs.",
            pull.id,
            percent.min(PERCENT_MAX)
        )
    })
}

#[cfg(test)]
mod tests {
    use super::error_percent;
    use baytrim_model::channel::Quantity;
    use baytrim_model::pull::{SensorBand, SensorReading};

    fn band(read_s: f64, percents: &[f64]) -> SensorBand {
        let pairs = Quantity::LAMBDAS.into_iter().zip(percents);
        SensorBand {
            from_rpm: 1000.0,
            to_rpm: 4000.0,
            read_s,
            leaner: pairs
                .map(|(sensor, &percent)| SensorReading { sensor, percent })
                .collect(),
        }
    }

    /// If this fails, the proof for a leaning counts less than what the sensors themselves show to be unknown: the
    /// standard error of a mean of n is the sample's standard deviation over the root of n.
    #[test]
    fn the_mean_is_as_good_as_its_sensors_agree() {
        assert!(error_percent(&[]) < 1e-12);
        assert!((error_percent(&[band(10.0, &[3.0, -3.0])]) - 3.0).abs() < 1e-12);
        // Deviations 2, 1, -3: variance 14 / 2, over three.
        let three = error_percent(&[band(10.0, &[2.0, 1.0, -3.0])]);
        assert!((three - (7.0_f64 / 3.0).sqrt()).abs() < 1e-12);
        let mixed = error_percent(&[band(30.0, &[0.0, 0.0]), band(10.0, &[4.0, -4.0])]);
        assert!((mixed - 2.0).abs() < 1e-12, "{mixed}");
    }
}
