//! How a vehicle behaves on the overrun and with secondary air: by the record, by the log, and where the two disagree.

use baytrim_model::channel::Quantity;
use baytrim_model::gate::GateSettings;
use baytrim_model::ids::StageId;
use baytrim_model::pull::PullWarning;
use baytrim_model::samples::Samples;
use baytrim_model::vehicle::{
    FoundAir, FoundCut, OverrunCut, PullBehaviour, SecondaryAir, VehicleRecord,
};
use baytrim_rider::{
    Contradiction, Recorded, RecordedAir, RecordedCut, contradictions, overrun_cut, secondary_air,
};

use crate::state::JobState;

/// Where secondary air flows if nobody says where: plate at or below, percent, and engine speed up to, rpm. Reeds and
/// pumps are shut under load; common practice, on the wide side.
pub const AIR_REGION: (f64, f64) = (15.0, 6000.0);

/// Returns what the record says of the vehicle in a stage: each by the last stage up to it that says so, else by the
/// job file. No stage is the first one.
pub fn recorded(state: &JobState, stage: Option<StageId>) -> VehicleRecord {
    let until = stage.unwrap_or(StageId(1));
    let stages = state.stages.iter().map(|entry| &entry.stage);
    let mut found = VehicleRecord {
        overrun: state.spec.overrun,
        secondary_air: state.spec.secondary_air,
    };
    for stage in stages.filter(|stage| stage.id <= until) {
        found.overrun = stage.vehicle.overrun.or(found.overrun);
        found.secondary_air = stage.vehicle.secondary_air.or(found.secondary_air);
    }
    found
}

/// Returns the gates that a pull is read with: where the record says that secondary air is active, and the job gives
/// no region, that of [`AIR_REGION`]. A flag in the log goes before any region. The record never opens a gate.
pub(crate) fn gates(gates: &GateSettings, recorded: &VehicleRecord) -> GateSettings {
    let mut gates = gates.clone();
    if is_by_region(&gates, recorded) {
        (
            gates.secondary_air_plate_percent_max,
            gates.secondary_air_rpm_max,
        ) = AIR_REGION;
    }
    gates
}

fn is_by_region(gates: &GateSettings, recorded: &VehicleRecord) -> bool {
    let is_active = recorded
        .secondary_air
        .is_some_and(|air| air.state == SecondaryAir::Active);
    is_active && gates.secondary_air_rpm_max <= 0.0
}

/// Returns how the vehicle behaved in a pull, none where neither record nor log says anything; and what to look at.
pub(crate) fn of_pull(
    samples: &Samples,
    gates: &GateSettings,
    recorded: &VehicleRecord,
) -> (Option<PullBehaviour>, Vec<PullWarning>) {
    let (cut, air) = (overrun_cut(samples), secondary_air(samples));
    let found = PullBehaviour {
        recorded: *recorded,
        overrun: found_cut(cut),
        secondary_air: found_air(air),
    };
    let mut warnings: Vec<PullWarning> = contradictions(&of_record(recorded), cut, air)
        .iter()
        .map(|found| PullWarning {
            code: match found {
                Contradiction::OverrunCut { .. } => "overrun_contradicts",
                Contradiction::SecondaryAir { .. } => "secondary_air_contradicts",
            }
            .to_owned(),
            message: found.to_string(),
        })
        .collect();
    if found.secondary_air == FoundAir::Active && recorded.secondary_air.is_none() {
        warnings.push(PullWarning {
            code: "secondary_air_found".to_owned(),
            message: "the log shows that air goes into the exhaust, and the record says nothing of secondary air; lambda reads lean by it: block it off before mapping, or record it".to_owned(),
        });
    }
    let is_flagged = samples
        .channel(Quantity::SecondaryAir)
        .is_some_and(|flag| flag.iter().any(|value| value.is_finite()));
    if is_by_region(gates, recorded) && !is_flagged {
        let (plate, rpm) = AIR_REGION;
        warnings.push(PullWarning {
            code: "secondary_air_by_region".to_owned(),
            message: format!(
                "the record says that secondary air is active, and the log has no flag of it: all readings up to {plate} % of plate and {rpm} rpm were refused; block it off and record that, log its flag, or give its region under gates.secondary_air_rpm_max and gates.secondary_air_plate_percent_max"
            ),
        });
    }
    let is_silent = found.overrun == FoundCut::NotSeen
        && found.secondary_air == FoundAir::NotSeen
        && recorded.is_empty();
    ((!is_silent).then_some(found), warnings)
}

fn of_record(recorded: &VehicleRecord) -> Recorded {
    Recorded {
        overrun_cut: recorded.overrun.map(|overrun| match overrun.cut {
            OverrunCut::On => RecordedCut::On,
            OverrunCut::Off => RecordedCut::Off,
            OverrunCut::AboveRpm => RecordedCut::Above(overrun.rpm.unwrap_or_default()),
        }),
        secondary_air: recorded.secondary_air.map(|air| match air.state {
            SecondaryAir::None => RecordedAir::NotFitted,
            SecondaryAir::Active => RecordedAir::Active,
            SecondaryAir::Blocked => RecordedAir::Blocked,
        }),
    }
}

fn found_cut(found: baytrim_rider::OverrunCut) -> FoundCut {
    use baytrim_rider::OverrunCut as Cut;
    match found {
        Cut::On { resumes_rpm } => FoundCut::On { resumes_rpm },
        Cut::Above { between_rpm } => FoundCut::AboveRpm { between_rpm },
        Cut::Off => FoundCut::Off,
        Cut::NotSeen => FoundCut::NotSeen,
        Cut::Unclear => FoundCut::Unclear,
    }
}

fn found_air(found: baytrim_rider::SecondaryAir) -> FoundAir {
    use baytrim_rider::SecondaryAir as Air;
    match found {
        Air::Active { .. } => FoundAir::Active,
        Air::DrivenWithoutAir => FoundAir::DrivenWithoutAir,
        Air::NotActive => FoundAir::NotActive,
        Air::NotSeen => FoundAir::NotSeen,
    }
}
