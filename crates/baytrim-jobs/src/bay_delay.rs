//! What a bay's earlier pulls tell of the delay of the next one.
//!
//! Within a job the last pull that told its delay had all before it as its prior, so its word stands. From job to
//! job the sensor stays and the vehicle changes: the lag and the gas volume per litre of displacement carry over,
//! widened by what vehicles differ in; cycles are the engine's own.

use baytrim_estimate::delay::{prior, prior_standard_error};
use baytrim_model::bay::{DelayBelief, DelayChoice, DelayModel};
use baytrim_model::engine::Engine;
use baytrim_model::ids::JobId;
use baytrim_model::pull::{DelayFound, DelaySource, PullRecord};
use baytrim_model::record::BayEvent;

use crate::bay::BayState;
use crate::pulls::find_bay;
use crate::state::JobState;

/// Standard deviation of ln(volume per litre of displacement) from vehicle to vehicle in one bay. Common practice.
const VEHICLE_GAS_LOG_SD: f64 = 0.5;
/// Standard deviation of ln(lag) from job to job: sensors age and are changed. Common practice.
const JOB_LAG_LOG_SD: f64 = 0.15;
/// Jobs that are asked, the latest first.
const JOBS_MAX: usize = 5;

/// A delay that a pull told.
#[derive(Debug, Clone, PartialEq)]
pub struct DelayEntry {
    /// The pull's job.
    pub job: JobId,
    /// Displacement of its engine, cubic centimetres.
    pub displacement_cc: f64,
    /// The delay as it was known after the pull.
    pub delay: DelayBelief,
}

/// A number known to a standard deviation.
#[derive(Debug, Clone, Copy)]
struct Known {
    mean: f64,
    sd: f64,
}

/// Returns what the pulls of a bay let expect of the next one of `job`; none where none told its delay.
pub fn expected_delay(bay: &BayState, job: &JobId, engine: &Engine) -> Option<DelayBelief> {
    if let Some(entry) = bay.delays.iter().rev().find(|entry| entry.job == *job) {
        return Some(entry.delay);
    }
    let others: Vec<&DelayEntry> = bay.delays.iter().rev().take(JOBS_MAX).collect();
    let gas = others.iter().map(|entry| Known {
        mean: (1000.0 * entry.delay.model.gas_volume_l / entry.displacement_cc).ln(),
        sd: share(&entry.delay, |model| model.gas_volume_l).hypot(VEHICLE_GAS_LOG_SD),
    });
    let lag = others.iter().map(|entry| Known {
        mean: entry.delay.model.lag_s.ln(),
        sd: share(&entry.delay, |model| model.lag_s).hypot(JOB_LAG_LOG_SD),
    });
    let (gas, lag) = (pooled(gas)?, pooled(lag)?);
    let (physics, error) = (prior(engine), prior_standard_error(engine));
    let gas_volume_l = gas.mean.exp() * engine.displacement_cc / 1000.0;
    let lag_s = lag.mean.exp();
    Some(DelayBelief {
        model: DelayModel {
            cycles: physics.cycles,
            gas_volume_l,
            lag_s,
        },
        standard_error: DelayModel {
            cycles: error.cycles,
            gas_volume_l: gas_volume_l * gas.sd.hypot(VEHICLE_GAS_LOG_SD),
            lag_s: lag_s * lag.sd.hypot(JOB_LAG_LOG_SD),
        },
    })
}

fn share(delay: &DelayBelief, pick: fn(&DelayModel) -> f64) -> f64 {
    pick(&delay.standard_error) / pick(&delay.model).max(1e-6)
}

/// Returns the mean of numbers weighted by their precision; none of none.
fn pooled(all: impl Iterator<Item = Known>) -> Option<Known> {
    let (mut sum, mut precision) = (0.0, 0.0);
    for known in all {
        let weight = 1.0 / (known.sd * known.sd).max(1e-12);
        sum += weight * known.mean;
        precision += weight;
    }
    (precision > 0.0).then(|| Known {
        mean: sum / precision,
        sd: (1.0 / precision).sqrt(),
    })
}

/// Returns the event that tells a bay what a pull of `state` told of its delay; none where it told nothing new, or
/// the job gives the delay.
pub fn learnt(state: &JobState, pull: &PullRecord) -> Option<BayEvent> {
    let (_, setup) = find_bay(state, pull.bay.as_str()).ok()?;
    let found = &pull.summary.delay;
    let is_told = found.source == DelaySource::Identified && setup.delay == DelayChoice::Identify;
    is_told.then(|| BayEvent::DelayLearnt {
        job: state.id().clone(),
        pull: pull.id,
        displacement_cc: state.spec.engine.displacement_cc,
        delay: DelayBelief {
            model: found.model,
            standard_error: found.standard_error,
        },
    })
}

/// Returns a sentence about the delays of pulls: which told theirs, and what stood for the others.
pub(crate) fn remark<'a>(pulls: impl Iterator<Item = &'a PullRecord>) -> Option<String> {
    let mut parts: [Vec<String>; 3] = [const { Vec::new() }; 3];
    for pull in pulls {
        let part = match pull.summary.delay.source {
            DelaySource::Given => continue,
            DelaySource::Identified => 0,
            DelaySource::Bay => 1,
            DelaySource::Prior => 2,
        };
        parts[part].push(format!("{}{}", pull.id, figures(&pull.summary.delay)));
    }
    let [told, bay, prior] = parts;
    let mut said = Vec::new();
    if !told.is_empty() {
        said.push(format!("{} tell it", told.join(", ")));
    }
    if !bay.is_empty() {
        let bay = bay.join(", ");
        said.push(format!("for {bay} earlier pulls in the bay tell it"));
    }
    if !prior.is_empty() {
        let prior = prior.join(", ");
        said.push(format!(
            "for {prior} nothing tells it and what is usual for such an engine stands: step the fuel once or twice, as the plan of the next pull says"
        ));
    }
    if said.is_empty() {
        return None;
    }
    Some(format!("Delay and lag: {}.", said.join("; ")))
}

fn figures(delay: &DelayFound) -> String {
    delay.typical.map_or_else(String::new, |typical| {
        format!(
            " ({:.0} ± {:.0} ms)",
            1000.0 * typical.delay_s,
            1000.0 * typical.standard_error_s
        )
    })
}
