//! The cut on the overrun and secondary air.

use baytrim_api::v1;
use baytrim_jobs::Refusal;
use baytrim_model::vehicle::{
    FoundAir, FoundCut, OverrunCut, PullBehaviour, RecordedAir, RecordedOverrun, SecondaryAir,
    VehicleRecord,
};

/// Returns what the record says of a vehicle; none where nothing.
pub fn record(record: &VehicleRecord) -> Option<v1::VehicleRecord> {
    (!record.is_empty()).then(|| v1::VehicleRecord {
        overrun_cut: record
            .overrun
            .map_or_else(String::new, |overrun| overrun.cut.as_str().to_owned()),
        overrun_rpm: record.overrun.and_then(|overrun| overrun.rpm),
        secondary_air: record
            .secondary_air
            .map_or_else(String::new, |air| air.state.as_str().to_owned()),
    })
}

/// Returns what a request says of a vehicle.
///
/// # Errors
/// When a word is none of those that there are.
pub fn asked(asked: Option<&v1::VehicleRecord>) -> Result<VehicleRecord, Refusal> {
    let Some(asked) = asked else {
        return Ok(VehicleRecord::default());
    };
    let cut = match asked.overrun_cut.as_str() {
        "" if asked.overrun_rpm.is_none() => None,
        "on" => Some(OverrunCut::On),
        "off" => Some(OverrunCut::Off),
        "above_rpm" => Some(OverrunCut::AboveRpm),
        other => {
            let problem = format!("{other:?} is no cut on the overrun");
            let remedy = "write on, off or above_rpm";
            return Err(Refusal::field("vehicle.overrun_cut", problem, remedy));
        }
    };
    let state = match asked.secondary_air.as_str() {
        "" => None,
        "none" => Some(SecondaryAir::None),
        "active" => Some(SecondaryAir::Active),
        "blocked" => Some(SecondaryAir::Blocked),
        other => {
            let problem = format!("{other:?} is no state of secondary air");
            let remedy = "write none, active or blocked";
            return Err(Refusal::field("vehicle.secondary_air", problem, remedy));
        }
    };
    Ok(VehicleRecord {
        overrun: cut.map(|cut| RecordedOverrun {
            cut,
            rpm: asked.overrun_rpm,
        }),
        secondary_air: state.map(|state| RecordedAir { state }),
    })
}

/// Returns how a vehicle behaved in a pull.
pub fn behaviour(found: &PullBehaviour) -> v1::PullBehaviour {
    let (cut, speeds) = match found.overrun {
        FoundCut::On { resumes_rpm } => ("on", resumes_rpm),
        FoundCut::AboveRpm { between_rpm } => ("above_rpm", Some(between_rpm)),
        FoundCut::Off => ("off", None),
        FoundCut::NotSeen => ("not_seen", None),
        FoundCut::Unclear => ("unclear", None),
    };
    let air = match found.secondary_air {
        FoundAir::Active => "active",
        FoundAir::DrivenWithoutAir => "driven_without_air",
        FoundAir::NotActive => "not_active",
        FoundAir::NotSeen => "not_seen",
    };
    v1::PullBehaviour {
        recorded: record(&found.recorded),
        overrun_cut: cut.to_owned(),
        overrun_low_rpm: speeds.map(|(low, _)| low),
        overrun_high_rpm: speeds.map(|(_, high)| high),
        secondary_air: air.to_owned(),
    }
}
