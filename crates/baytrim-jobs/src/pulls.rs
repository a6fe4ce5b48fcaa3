//! Reading a pull for a job and recording what it turned out to be.

use baytrim_estimate::{LivePull, PullContext, PullReading, ReadError, judge_rows, read_pull};
use baytrim_model::bay::{BaySetup, DelayBelief, DelayChoice};
use baytrim_model::channel::ChannelMap;
use baytrim_model::gate::{GateName, GateSettings};
use baytrim_model::ids::{BayName, ModeName, RevisionId, StageId};
use baytrim_model::power::Conditions;
use baytrim_model::pull::{ChannelMapSource, PullRecord, PullSummary};
use baytrim_model::record::JobEvent;
use baytrim_model::recording::Recording;
use baytrim_model::revision::TableKind;
use baytrim_model::samples::Samples;
use baytrim_rider::{StayRules, pull_grip};

use crate::refusal::Refusal;
use crate::state::JobState;
use crate::{air, behaviour, power};

/// Where a pull came from and what the vehicle had loaded.
#[derive(Debug, Clone, PartialEq)]
pub struct Circumstances {
    /// The bay.
    pub bay: BayName,
    /// Table revision loaded in the vehicle.
    pub revision: RevisionId,
    /// The stage that the vehicle was in; none for a pull of a time when jobs had none.
    pub stage: Option<StageId>,
    /// The riding mode; none where nobody named one.
    pub mode: Option<ModeName>,
    /// The revision of that mode's grip table that was loaded; none where the job has none.
    pub grip_revision: Option<RevisionId>,
    /// The channel map that the log is read with.
    pub channels: ChannelMap,
    /// Where that map came from; none for a pull of a time when nobody noted it.
    pub channels_from: Option<ChannelMapSource>,
    /// What earlier pulls in the bay told of the delay; none where they told nothing.
    pub delay_expected: Option<DelayBelief>,
    /// The bay's air as it was given with the log; none where nobody gave any.
    pub conditions: Option<Conditions>,
}

/// What a pull leaves beside its summary: its blobs, by the SHA-256 that names them, hexadecimal, and what
/// its log is known by.
#[derive(Debug, Clone, PartialEq)]
pub struct PullBlobs {
    /// The raw log.
    pub log: String,
    /// The fingerprint of its samples.
    pub fingerprint: String,
    /// How the log was recorded.
    pub recording: Recording,
    /// The evidence.
    pub evidence: String,
}

/// Returns the circumstances that a sender states; an empty `revision` means the one in force, an empty `stage` the
/// one that the vehicle is in.
///
/// # Errors
/// When the job knows no such bay, revision or stage.
pub fn circumstances(
    state: &JobState,
    bay: &str,
    revision: &str,
    stage: &str,
    (channels, channels_from): (ChannelMap, ChannelMapSource),
) -> Result<Circumstances, Refusal> {
    let (bay, _) = find_bay(state, bay)?;
    let revision = match revision {
        "" => state.head().id,
        text => {
            let id = text.parse().map_err(|error| Refusal::Fields(vec![error]))?;
            state.fuel_revision(id)?.id
        }
    };
    let stage = match stage {
        "" => state.stage().id,
        text => {
            let id = text.parse().map_err(|error| Refusal::Fields(vec![error]))?;
            state.stage_of(id)?.stage.id
        }
    };
    Ok(Circumstances {
        bay: bay.clone(),
        revision,
        stage: Some(stage),
        mode: None,
        grip_revision: grip_head(state, &ModeName::unnamed()),
        channels,
        channels_from: Some(channels_from),
        delay_expected: None,
        conditions: None,
    })
}

/// Returns the circumstances in the riding mode that a sender names; an empty `grip_revision` means the one of its
/// grip table in force.
///
/// # Errors
/// When the name is none, or the job has no such revision of that mode's table.
pub fn in_mode(
    state: &JobState,
    circumstances: Circumstances,
    mode: &str,
    grip_revision: &str,
) -> Result<Circumstances, Refusal> {
    let fields = |error| Refusal::Fields(vec![error]);
    let mode: Option<ModeName> = match mode {
        "" => None,
        text => Some(text.parse().map_err(fields)?),
    };
    let named = mode.clone().unwrap_or_else(ModeName::unnamed);
    let grip_revision = match grip_revision {
        "" => grip_head(state, &named),
        text => {
            let id = text.parse().map_err(fields)?;
            let found = state.revision(id)?;
            if found.table.mode() != Some(&named) {
                return Err(Refusal::field(
                    "grip_revision",
                    format!("{id} is no revision of the grip table of mode {named}"),
                    "name one of that mode's table, or leave it out",
                ));
            }
            Some(found.id)
        }
    };
    Ok(Circumstances {
        mode,
        grip_revision,
        ..circumstances
    })
}

fn grip_head(state: &JobState, mode: &ModeName) -> Option<RevisionId> {
    let table = TableKind::Grip { mode: mode.clone() };
    state.head_of(&table).map(|revision| revision.id)
}

/// Returns the circumstances of a pull that was taken.
pub fn circumstances_of(record: &PullRecord) -> Circumstances {
    Circumstances {
        bay: record.bay.clone(),
        revision: record.revision,
        stage: record.stage,
        mode: record.mode.clone(),
        grip_revision: record.grip_revision,
        channels: record.channels.clone(),
        channels_from: record.channels_from,
        delay_expected: record.delay_expected,
        conditions: record.conditions,
    }
}

/// Returns the bay of that name.
///
/// # Errors
/// When the job knows no such bay.
pub fn find_bay<'a>(
    state: &'a JobState,
    bay: &str,
) -> Result<(&'a BayName, &'a BaySetup), Refusal> {
    let bays = &state.spec.bays;
    bays.iter()
        .find(|(name, _)| name.as_str() == bay)
        .ok_or_else(|| Refusal::bay_unknown(state.id(), bay, bays.keys()))
}

/// Returns what the samples of a pull say.
///
/// # Errors
/// [`Refusal::Fields`] when the samples can't be read as a pull at all.
pub fn read(
    state: &JobState,
    circumstances: &Circumstances,
    samples: &Samples,
) -> Result<PullReading, Refusal> {
    let trim = trim_in_force(state, circumstances)?;
    let gates = gates(state, circumstances);
    let context = context(state, circumstances, &trim, &gates)?;
    let mut reading = read_pull(samples, &context).map_err(|error| unreadable(&error))?;
    let (_, bay) = find_bay(state, circumstances.bay.as_str())?;
    let air = air::of_pull(samples, circumstances.conditions.as_ref());
    reading.summary.power = power::of_pull(samples, &state.spec.power, bay, air.as_ref());
    reading.summary.air = air;
    let recorded = behaviour::recorded(state, circumstances.stage);
    let (found, warnings) = behaviour::of_pull(samples, &state.spec.gates, &recorded);
    reading.summary.behaviour = found;
    reading.summary.warnings.extend(warnings);
    reading.summary.grip = pull_grip(samples, &StayRules::default());
    Ok(reading)
}

/// Returns what became of each of the samples of a recorded pull: the gate that refused it, none where accepted.
///
/// # Errors
/// As [`read`].
pub fn judge(
    state: &JobState,
    pull: &PullRecord,
    samples: &Samples,
) -> Result<Vec<Option<GateName>>, Refusal> {
    let circumstances = circumstances_of(pull);
    let trim = trim_in_force(state, &circumstances)?;
    let gates = gates(state, &circumstances);
    let mut context = context(state, &circumstances, &trim, &gates)?;
    context.delay = DelayChoice::Given(pull.summary.delay.model);
    judge_rows(samples, &context).map_err(|error| unreadable(&error))
}

/// Returns a reader that takes the samples of a pull as they come.
///
/// # Errors
/// As [`read`].
pub fn live(state: &JobState, circumstances: &Circumstances) -> Result<LivePull, Refusal> {
    let trim = trim_in_force(state, circumstances)?;
    let gates = gates(state, circumstances);
    LivePull::new(&context(state, circumstances, &trim, &gates)?)
        .map_err(|error| unreadable(&error))
}

/// Returns the event that records a finished pull.
///
/// # Errors
/// When the very same log was taken already, read the same way: counted twice, its readings would
/// look like twice the proof.
pub fn event(
    state: &JobState,
    circumstances: &Circumstances,
    source_name: &str,
    blobs: PullBlobs,
    summary: PullSummary,
) -> Result<JobEvent, Refusal> {
    let same = state.pulls.iter().map(|entry| &entry.record).find(|pull| {
        pull.log_blob == blobs.log
            && pull.revision == circumstances.revision
            && pull.channels == circumstances.channels
    });
    if let Some(pull) = same {
        return Err(Refusal::LogKnown {
            job: state.id().clone(),
            pull: pull.id,
        });
    }
    Ok(JobEvent::PullFinished {
        pull: Box::new(PullRecord {
            id: state.next_pull(),
            bay: circumstances.bay.clone(),
            revision: circumstances.revision,
            stage: circumstances.stage,
            mode: circumstances.mode.clone(),
            grip_revision: circumstances.grip_revision,
            source_name: source_name.to_owned(),
            channels: circumstances.channels.clone(),
            channels_from: circumstances.channels_from,
            delay_expected: circumstances.delay_expected,
            conditions: circumstances.conditions,
            log_blob: blobs.log,
            fingerprint: Some(blobs.fingerprint),
            recording: Some(blobs.recording),
            evidence_blob: blobs.evidence,
            summary,
        }),
    })
}

pub(crate) fn trim_in_force(
    state: &JobState,
    circumstances: &Circumstances,
) -> Result<Vec<f64>, Refusal> {
    Ok(state.log_trim(state.revision(circumstances.revision)?))
}

/// Returns the gates that a pull is read with.
pub(crate) fn gates(state: &JobState, circumstances: &Circumstances) -> GateSettings {
    let recorded = behaviour::recorded(state, circumstances.stage);
    behaviour::gates(&state.spec.gates, &recorded)
}

pub(crate) fn context<'a>(
    state: &'a JobState,
    circumstances: &Circumstances,
    trim_in_force: &'a [f64],
    gates: &'a GateSettings,
) -> Result<PullContext<'a>, Refusal> {
    let (_, bay) = find_bay(state, circumstances.bay.as_str())?;
    Ok(PullContext {
        gates,
        delay: match (bay.delay, circumstances.delay_expected) {
            (DelayChoice::Identify, Some(belief)) => DelayChoice::Expect(belief),
            (choice, _) => choice,
        },
        evidence: circumstances.channels.evidence,
        ..PullContext::of_job(&state.spec, trim_in_force)
    })
}

pub(crate) fn unreadable(error: &ReadError) -> Refusal {
    Refusal::field(
        "samples",
        error.to_string(),
        "check the log and its channel map",
    )
}
