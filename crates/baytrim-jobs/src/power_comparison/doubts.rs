//! Which pulls should not be compared by their power, and why. The bounds are common practice.

use baytrim_model::power::{AirSource, PowerSource};

use super::{ComparedPull, air};

/// Density of the air may differ by so much; beyond it the formulas of the standards themselves are off by parts in a
/// thousand.
const DENSITY_PERCENT_MAX: f64 = 3.0;

/// Temperature of the air may differ by so much, degrees Celsius: knock and mixture follow it, which no standard
/// corrects.
const TEMPERATURE_C_MAX: f64 = 8.0;

/// Adds to each pull why it should not be compared with the first one.
pub(super) fn tell(pulls: &mut [ComparedPull<'_>]) {
    let has_curve = |pull: &&ComparedPull<'_>| !pull.power.points.is_empty();
    let first = pulls.iter().find(has_curve).cloned();
    for pull in pulls.iter_mut().filter(|pull| has_curve(&&**pull)) {
        own(pull);
        if let Some(first) = &first
            && first.entry.record.id != pull.entry.record.id
        {
            against(pull, first);
        }
    }
}

/// What is odd about a pull by itself.
fn own(pull: &mut ComparedPull<'_>) {
    let Some(correction) = pull.power.correction.clone() else {
        let doubt = "not corrected: pressure and temperature of the bay are not both known";
        pull.doubts.push(doubt.to_owned());
        return;
    };
    pull.doubts.extend(correction.outside);
    let temperature = air(pull).and_then(|air| air.temperature_c);
    if temperature.is_some_and(|found| found.source == AirSource::Intake) {
        let doubt = "its temperature is that of the intake, which is warmer than the bay";
        pull.doubts.push(doubt.to_owned());
    }
    if let Some(found) = temperature.filter(|found| found.change.abs() > TEMPERATURE_C_MAX) {
        pull.doubts.push(format!(
            "the air's temperature changed by {:+.1} C while it ran",
            found.change
        ));
    }
}

/// What sets it apart from another one.
fn against(pull: &mut ComparedPull<'_>, first: &ComparedPull<'_>) {
    let id = first.entry.record.id;
    let airs = (air(pull), air(first));
    let mut doubt = |sentence: String| pull.doubts.push(sentence);
    if pull.entry.record.bay != first.entry.record.bay {
        doubt(format!(
            "its roller is that of bay {}, that of {id} is in bay {}",
            pull.entry.record.bay, first.entry.record.bay
        ));
    }
    if pull.power.source != first.power.source {
        doubt(format!(
            "its power comes from {}, that of {id} from {}",
            source(pull.power.source),
            source(first.power.source)
        ));
    }
    let (Some(own), Some(other)) = airs else {
        return;
    };
    if let (Some(own), Some(other)) = (own.density_kg_m3, other.density_kg_m3) {
        let apart = 100.0 * (own / other - 1.0);
        if apart.abs() > DENSITY_PERCENT_MAX {
            doubt(format!(
                "its air is {:.1} % {} than that of {id}",
                apart.abs(),
                if apart > 0.0 { "denser" } else { "thinner" }
            ));
        }
    }
    if let (Some(own), Some(other)) = (own.temperature_c, other.temperature_c) {
        let apart = own.mean - other.mean;
        if apart.abs() > TEMPERATURE_C_MAX {
            doubt(format!(
                "its air is {:.1} C {} than that of {id}",
                apart.abs(),
                if apart > 0.0 { "warmer" } else { "colder" }
            ));
        }
    }
}

fn source(source: Option<PowerSource>) -> &'static str {
    match source {
        Some(PowerSource::Torque) => "roller torque",
        Some(PowerSource::Inertia) => "the roller's inertia",
        None => "nowhere",
    }
}
