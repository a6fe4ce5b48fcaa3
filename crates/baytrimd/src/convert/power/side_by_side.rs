//! Power of several pulls.

use baytrim_api::v1;
use baytrim_jobs::power_comparison::{Change, ComparedPull, PowerComparison, air};
use baytrim_jobs::{JobState, power};
use baytrim_power::{Drift, Verdict};

use super::{air as of_air, standard, whole};
use crate::convert::name;
use crate::convert::time::timestamp;

/// Cautions that go with every figure of power.
pub const CAUTIONS: [&str; 2] = [
    "Power at the roller: losses of gearbox, chain and tyre are in it. Figures of two rollers, or by two standards, do not compare.",
    "Errors are those of the readings' scatter; an inertia or a torque meter that is off by a percent puts all figures off by it.",
];

/// Returns the power of several pulls.
pub fn comparison(state: &JobState, found: &PowerComparison<'_>) -> v1::PowerSideBySide {
    let first = found.pulls.iter().find_map(|pull| pull.mean_log_power);
    let mut seen_first = false;
    let pulls = found.pulls.iter().map(|pull| {
        let is_first = pull.mean_log_power.is_some() && !std::mem::replace(&mut seen_first, true);
        let pair = pull.mean_log_power.zip(first).filter(|_| !is_first);
        compared(state, pull, pair.map(|(own, first)| percent(own - first)))
    });
    v1::PowerSideBySide {
        name: name::job(state.id()),
        standard: standard(found.standard).into(),
        standard_title: power::title(found.standard).to_owned(),
        pulls: pulls.collect(),
        common_rpm: found.common_rpm.clone(),
        corrected: found.is_corrected,
        change: found.change.as_ref().map(change),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
    }
}

fn compared(
    state: &JobState,
    pull: &ComparedPull<'_>,
    difference_percent: Option<f64>,
) -> v1::ComparedPower {
    let record = &pull.entry.record;
    v1::ComparedPower {
        name: name::pull(state.id(), record.id),
        bay: record.bay.to_string(),
        revision: record.revision.to_string(),
        stage: pull.entry.stage.to_string(),
        create_time: Some(timestamp(pull.entry.at)),
        power: Some(whole(&pull.power)),
        air: air(pull).map(of_air),
        difference_percent,
        doubts: pull.doubts.clone(),
    }
}

fn percent(log: f64) -> f64 {
    100.0 * log.exp_m1()
}

fn change(change: &Change) -> v1::PowerChange {
    let found = &change.comparison;
    v1::PowerChange {
        before_pulls: change.before.1.iter().map(ToString::to_string).collect(),
        after_pulls: change.after.1.iter().map(ToString::to_string).collect(),
        difference_percent: percent(found.difference),
        low_percent: found.interval.map(|(low, _)| percent(low)),
        high_percent: found.interval.map(|(_, high)| percent(high)),
        repeatability_percent: found.repeatability.map(percent),
        verdict: verdict(found.verdict).into(),
        drift: change.drift.as_ref().map(drift),
        sentences: change.sentences.clone(),
    }
}

fn drift(found: &Drift) -> v1::PowerDrift {
    v1::PowerDrift {
        drift_percent_per_h: percent(found.drift_per_h),
        drift_low_percent_per_h: percent(found.drift_interval.0),
        drift_high_percent_per_h: percent(found.drift_interval.1),
        change_percent: percent(found.change),
        change_low_percent: percent(found.change_interval.0),
        change_high_percent: percent(found.change_interval.1),
        verdict: verdict(found.verdict).into(),
    }
}

fn verdict(verdict: Verdict) -> v1::PowerVerdict {
    match verdict {
        Verdict::More => v1::PowerVerdict::More,
        Verdict::Less => v1::PowerVerdict::Less,
        Verdict::InsideTheNoise => v1::PowerVerdict::InsideTheNoise,
        Verdict::CannotBeTold => v1::PowerVerdict::CannotBeTold,
    }
}
