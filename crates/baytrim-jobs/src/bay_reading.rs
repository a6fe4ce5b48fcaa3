//! How a bay reads against the other bays, over all jobs that met several.
//!
//! Each job's difference has its own error, and jobs scatter beyond it: exhausts leak, sensors age. With weights
//! 1 / (s^2 + t^2), where t^2 is the scatter that the differences show beyond their errors, the mean is a random-effects
//! one. Source: `DerSimonian` and Laird (1986), Controlled Clinical Trials 7.

use baytrim_model::ids::{BayName, JobId};
use baytrim_model::proposal::{BayDifference, Proposal};
use baytrim_model::record::BayEvent;

/// What one job told.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingEntry {
    /// The job.
    pub job: JobId,
    /// How much leaner the bay read than the others at the same places, percent of lambda.
    pub leaner_percent: f64,
    /// Its standard error, percent.
    pub standard_error_percent: f64,
}

/// How a bay reads against the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BayReading {
    /// How much leaner it reads than the other bays, percent of lambda.
    pub leaner_percent: f64,
    /// Its standard error, percent.
    pub standard_error_percent: f64,
    /// Jobs that tell it.
    pub job_count: usize,
}

/// Returns what jobs tell of a bay together; none where there is none.
pub fn pooled(entries: &[ReadingEntry]) -> Option<BayReading> {
    let first = mean(entries, 0.0)?;
    let weight = |entry: &ReadingEntry| entry.standard_error_percent.max(0.01).powi(-2);
    let sum: f64 = entries.iter().map(weight).sum();
    let squares: f64 = entries.iter().map(|entry| weight(entry).powi(2)).sum();
    let away = |entry: &ReadingEntry| {
        weight(entry) * (entry.leaner_percent - first.leaner_percent).powi(2)
    };
    let scatter: f64 = entries.iter().map(away).sum();
    let room = sum - squares / sum;
    let beyond = if room > 0.0 {
        ((scatter - (entries.len() as f64 - 1.0)) / room).max(0.0)
    } else {
        0.0
    };
    mean(entries, beyond)
}

fn mean(entries: &[ReadingEntry], beyond: f64) -> Option<BayReading> {
    let weight =
        |entry: &ReadingEntry| 1.0 / (entry.standard_error_percent.max(0.01).powi(2) + beyond);
    let sum: f64 = entries.iter().map(weight).sum();
    let total: f64 = entries
        .iter()
        .map(|entry| weight(entry) * entry.leaner_percent)
        .sum();
    (sum > 0.0).then(|| BayReading {
        leaner_percent: total / sum,
        standard_error_percent: (1.0 / sum).sqrt(),
        job_count: entries.len(),
    })
}

/// Returns the events that tell the bays of a job how they read against each other by `proposal`.
pub fn told(job: &JobId, proposal: &Proposal) -> Vec<(BayName, BayEvent)> {
    let event = |found: &BayDifference| {
        let event = BayEvent::ReadingCompared {
            job: job.clone(),
            proposal: proposal.id,
            leaner_percent: found.leaner_percent,
            standard_error_percent: found.standard_error_percent,
        };
        (found.bay.clone(), event)
    };
    proposal.bays.iter().map(event).collect()
}

#[cfg(test)]
mod tests {
    use super::{ReadingEntry, pooled};

    fn entry(job: &str, leaner_percent: f64, standard_error_percent: f64) -> ReadingEntry {
        ReadingEntry {
            job: job.parse().expect("a name"),
            leaner_percent,
            standard_error_percent,
        }
    }

    /// If this fails, one odd job makes a bay's sensor look sure to be wrong, or many jobs tell no more than one.
    #[test]
    fn jobs_that_disagree_widen_the_error() {
        assert_eq!(pooled(&[]), None);
        let one = pooled(&[entry("a", 1.5, 0.5)]).expect("told");
        assert!((one.leaner_percent - 1.5).abs() < 1e-12);
        assert!((one.standard_error_percent - 0.5).abs() < 1e-12);
        // Four that agree: the error halves.
        let same = ["a", "b", "c", "d"].map(|job| entry(job, 1.5, 0.5));
        let four = pooled(&same).expect("told");
        assert!((four.standard_error_percent - 0.25).abs() < 1e-12);
        // Worked by hand: weights 4, Q = 4 (1 + 1) = 8, C = 8 - 32/8 = 4, t^2 = (8 - 1)/4 = 1.75;
        // each weighs 1/2, so the error is 1.
        let apart = pooled(&[entry("a", 0.5, 0.5), entry("b", 2.5, 0.5)]).expect("told");
        assert!((apart.leaner_percent - 1.5).abs() < 1e-12);
        assert!((apart.standard_error_percent - 1.0).abs() < 1e-12);
    }
}
