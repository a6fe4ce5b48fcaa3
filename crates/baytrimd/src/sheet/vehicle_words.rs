//! Overrun and secondary air, in plain words for the customer.

use baytrim_jobs::JobState;
use baytrim_jobs::behaviour::recorded;
use baytrim_model::vehicle::{OverrunCut, SecondaryAir};

/// What is said of every change of emission control.
const LAW: &str = "On public roads that may be unlawful and end the vehicle's approval: the law of the place decides.";

/// Returns what the record says of the vehicle, what that means, and where the last log says otherwise.
pub(super) fn told(state: &JobState) -> Vec<String> {
    let record = recorded(state, Some(state.stage().id));
    let mut said = Vec::new();
    if let Some(overrun) = record.overrun {
        said.push(match overrun.cut {
            OverrunCut::On => "Fuel is cut when the throttle is shut at speed: the engine then uses none and brakes.".to_owned(),
            OverrunCut::Off => format!(
                "The fuel cut with the throttle shut is taken out: the engine uses fuel there, brakes less, and may pop in the exhaust. {LAW}"
            ),
            OverrunCut::AboveRpm => format!(
                "Fuel is cut with the throttle shut above {:.0} rpm only: below it the engine uses fuel, brakes less, and may pop in the exhaust. {LAW}",
                overrun.rpm.unwrap_or_default()
            ),
        });
    }
    said.extend(record.secondary_air.and_then(|air| match air.state {
        SecondaryAir::None => None,
        SecondaryAir::Active => Some(
            "Fresh air is led into the exhaust, as it came: it cleans the exhaust, and may pop with the throttle shut."
                .to_owned(),
        ),
        SecondaryAir::Blocked => Some(format!(
            "The fresh air into the exhaust is blanked off: it pops less with the throttle shut, and its exhaust is less clean. {LAW}"
        )),
    }));
    let contradicted = state
        .pulls
        .iter()
        .rev()
        .find(|pull| pull.record.summary.behaviour.is_some());
    if let Some(pull) = contradicted {
        let warnings = pull.record.summary.warnings.iter();
        let against = warnings.filter(|warning| warning.code.ends_with("_contradicts"));
        said.extend(against.map(|warning| format!("Log {}: {}.", pull.record.id, warning.message)));
    }
    said
}
