//! The library: what earlier jobs of the shop teach, and the table that a new job starts from.

use baytrim_estimate::hat::HatFinder;
use baytrim_estimate::limit::{NodeEstimates, propose_nodes};
use baytrim_estimate::{FitSettings, PullEvidence, Vehicle, expected_needs, fit_whole, pool};
use baytrim_model::ids::{Actor, ProposalId, PullId, UnixMillis};
use baytrim_model::job::JobSpec;
use baytrim_model::library::{KindPrior, LibrarySource, StartingTable};
use baytrim_model::limits::Limits;
use baytrim_model::proposal::{FitSummary, NodeChange, Proposal};
use baytrim_model::revision::{RevisionOrigin, TableKind};
use baytrim_model::table::TableContent;

use crate::kind::likeness;
use crate::propose::misfit;
use crate::refusal::{LibraryRefusal, Refusal};
use crate::sensors;
use crate::state::JobState;

/// Most entries of the library that one starting table is learnt from, the nearest first.
pub const SOURCES_MAX: usize = 20;
/// Largest standard error of a need that a starting table follows, percent, where the job's limits allow less: it only
/// adds fuel, and one vehicle leaves nearly four percent of what vehicles of a kind differ in.
const STANDARD_ERROR_PERCENT_MAX: f64 = 5.0;
/// Past any need: no fuel may be taken away.
const NEVER: f64 = 1e3;
/// Base tables of one content that differ by more on average, ln units, are of other units or injectors.
const BASE_DIFFERENCE_MAX: f64 = 0.223;

/// Why a job teaches nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Untaught {
    /// It does not say what its vehicle is.
    NoVehicle,
    /// The table in force came of no approved proposal with pulls.
    NotApproved,
    /// Parts were fitted after the pulls behind the table in force.
    OtherParts,
}

/// What a job teaches: the approved proposal that its table in force came of, with the pulls behind it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lesson {
    /// The proposal.
    pub proposal: ProposalId,
    /// Its pulls.
    pub pulls: Vec<PullId>,
}

/// Returns what a job teaches.
///
/// # Errors
/// Says why it teaches nothing.
pub fn lesson(state: &JobState) -> Result<Lesson, Untaught> {
    if state.spec.vehicle.is_none() {
        return Err(Untaught::NoVehicle);
    }
    let mut revision = state.head();
    loop {
        let at = match &revision.origin {
            RevisionOrigin::Base => return Err(Untaught::NotApproved),
            RevisionOrigin::Revert { to } => *to,
            RevisionOrigin::Approval { proposal } => {
                let entry = state
                    .proposal(*proposal)
                    .map_err(|_| Untaught::NotApproved)?;
                let found = &entry.proposal;
                if found.start.is_none() && !found.pulls.is_empty() {
                    return of_present_parts(state, *proposal, &found.pulls);
                }
                // A starting table alone was learnt from others.
                found.base_revision
            }
        };
        revision = state.revision(at).map_err(|_| Untaught::NotApproved)?;
    }
}

/// Returns what those pulls of an approved proposal teach that were run with the parts that are fitted now: the job
/// file names those.
fn of_present_parts(
    state: &JobState,
    proposal: ProposalId,
    pulls: &[PullId],
) -> Result<Lesson, Untaught> {
    let is_older = |id: &&PullId| {
        let pull = state.pull(**id);
        pull.is_ok_and(|pull| !state.has_present_parts(pull))
    };
    let pulls: Vec<PullId> = pulls.iter().filter(|id| !is_older(id)).copied().collect();
    if pulls.is_empty() {
        return Err(Untaught::OtherParts);
    }
    Ok(Lesson { proposal, pulls })
}

/// An entry of the library with its evidence.
#[derive(Debug, Clone)]
pub struct Source<'a> {
    /// Its job as it was then.
    pub state: &'a JobState,
    /// What is noted of it.
    pub entry: LibrarySource,
    /// The evidence of its pulls, in their order.
    pub evidence: Vec<&'a PullEvidence>,
}

/// Returns the starting table that `sources` lead to, one approved job each, of the kind of `state`. It can be
/// approved for `valid_s` seconds; none: for ever.
///
/// # Errors
/// When there is no source, one is of another kind, or evidence does not fit its job.
pub fn start(
    state: &JobState,
    sources: &[Source<'_>],
    at: UnixMillis,
    by: &Actor,
    valid_s: Option<u64>,
) -> Result<Proposal, Refusal> {
    let spec = &state.spec;
    if sources.is_empty() {
        return Err(LibraryRefusal::Empty(state.id().clone()).into());
    }
    let vehicles = sources.iter().map(|source| taught(spec, source));
    let vehicles = vehicles.collect::<Result<Vec<_>, Refusal>>()?;
    let prior = pool(&spec.axes, &vehicles);
    let (nodes, remarks) = changes(state, &prior)?;
    let mut said = vec![lineage(sources)];
    said.extend(parts_that_differ(spec, sources));
    said.extend(remarks);
    Ok(Proposal {
        table: TableKind::Fuel,
        grip: None,
        id: state.next_proposal(),
        base_revision: state.head().id,
        pulls: Vec::new(),
        created_at: at,
        created_by: by.clone(),
        valid_s,
        fit: summary(&nodes, said),
        done: None,
        nodes,
        start: Some(Box::new(StartingTable {
            sources: sources.iter().map(|source| source.entry.clone()).collect(),
            prior,
        })),
        bays: Vec::new(),
    })
}

/// Returns what a source says of the needs of a vehicle of `spec`.
fn taught<'a>(spec: &JobSpec, source: &Source<'a>) -> Result<Vehicle<'a>, Refusal> {
    let other = &source.state.spec;
    if likeness(spec, other).is_none() {
        return Err(LibraryRefusal::OtherKind {
            job: spec.id.clone(),
            other: other.id.clone(),
        }
        .into());
    }
    let pulls = source.entry.pulls.iter();
    let records = pulls.filter_map(|&pull| source.state.pull(pull).ok());
    let settings = sensors::settings(records.map(|entry| &entry.record));
    let wrong = |error: String| misfit(format!("of {}: {error}", other.id));
    let (fit, posterior) = fit_whole(&other.axes, &source.evidence, &settings)
        .map_err(|error| wrong(error.to_string()))?;
    let evidence = posterior.need_evidence(&source.evidence);
    Ok(Vehicle {
        axes: &other.axes,
        evidence: evidence.ok_or_else(|| wrong("its equations cannot be solved".to_owned()))?,
        shift: shift(spec, other),
        dwell_s: fit.dwell_s,
    })
}

/// What kind of quantity a table holds; only tables of one kind say the same of one engine.
fn family(content: TableContent) -> u8 {
    match content {
        TableContent::Percent | TableContent::Factor => 0,
        TableContent::VolumetricEfficiency => 1,
        TableContent::EffectiveTimeMs | TableContent::TotalTimeMs { .. } => 2,
    }
}

/// Returns what is to be added to the needs of `other`'s table, at its nodes, to have them against that of `spec`, ln
/// units: more fuel in its base, a leaner target and a fuel that wants more air each make it more.
fn shift(spec: &JobSpec, other: &JobSpec) -> Vec<f64> {
    let fuel = |job: &JobSpec| -> Vec<f64> {
        let values = job.table.values.iter();
        values
            .map(|&value| job.table.content.fuel(value).ln())
            .collect()
    };
    let (ours, theirs) = (fuel(spec), fuel(other));
    let mut finder = HatFinder::default();
    let hats: Vec<_> = (0..other.axes.node_count())
        .map(|node| {
            let (rpm, plate_percent) = other.axes.position(node);
            finder.find(&spec.axes, rpm, plate_percent)
        })
        .collect();
    let pairs = hats.iter().zip(&theirs);
    let bases: Vec<f64> = pairs.map(|(hat, own)| own - hat.value(&ours)).collect();
    let mean = bases.iter().sum::<f64>() / bases.len() as f64;
    let is_same = family(spec.table.content) == family(other.table.content)
        && mean.abs() <= BASE_DIFFERENCE_MAX;
    let air = (other.fuel.stoichiometric_afr / spec.fuel.stoichiometric_afr).ln();
    let targets = hats.iter().zip(&other.target_lambda);
    targets
        .zip(bases)
        .map(|((hat, own), base)| {
            let target = (own / hat.value(&spec.target_lambda)).ln();
            air + target + if is_same { base } else { 0.0 }
        })
        .collect()
}

/// Returns the changes of the starting table, and what is to be said of them.
fn changes(state: &JobState, prior: &KindPrior) -> Result<(Vec<NodeChange>, Vec<String>), Refusal> {
    let spec = &state.spec;
    let told = expected_needs(&spec.axes, prior);
    let (mean, sd) = told.ok_or_else(|| misfit("of the library cannot be pooled".to_owned()))?;
    let nodes = spec.axes.node_count();
    let limits = Limits {
        standard_error_percent_max: spec
            .limits
            .standard_error_percent_max
            .max(STANDARD_ERROR_PERCENT_MAX),
        visits_min: 1,
        borrowed_changes: false,
        ..spec.limits.clone()
    };
    let estimates = NodeEstimates {
        theta: &mean,
        standard_error: &sd,
        // A sensor's bias is in the prior.
        sensor_error: 0.0,
        dwell_s: &prior.dwell_s,
        visits: &prior.vehicles,
        measured_fraction: &vec![0.0; nodes],
        false_lean: &[],
        least_fuel: &vec![NEVER; nodes],
    };
    let head = &state.head().values;
    let target = &spec.target_lambda;
    let changes = propose_nodes(&spec.axes, &spec.table, target, &limits, head, &estimates)
        .map_err(|error| misfit(error.to_string()))?;
    let spread = &prior.spread;
    let mut remarks = vec![format!(
        "Vehicles of the kind differ by about {:.1} % as a whole, {:.1} % over parts of the table and {:.1} % from node to node.",
        spread.level_percent, spread.shape_percent, spread.rough_percent
    )];
    let deadband = spec.limits.deadband_percent;
    let taught = prior.vehicles.iter().zip(&changes);
    let leaner = taught.filter(|(count, node)| **count > 0 && node.correction_percent < -deadband);
    let leaner = leaner.count();
    if leaner > 0 {
        remarks.push(format!(
            "At {leaner} nodes the kind needs less fuel than the table has: they stay until pulls of this engine prove it."
        ));
    }
    let untaught = prior.vehicles.iter().filter(|count| **count == 0).count();
    if untaught > 0 {
        remarks.push(format!(
            "No vehicle of the kind was measured at {untaught} nodes: they stay as they are."
        ));
    }
    Ok((changes, remarks))
}

fn lineage(sources: &[Source<'_>]) -> String {
    let names: Vec<String> = sources
        .iter()
        .map(|source| format!("{}/{}", source.entry.job, source.entry.revision))
        .collect();
    format!(
        "A starting table, learnt from {} and from no pull of this engine: it only adds fuel. Check the first pull before riding.",
        names.join(", ")
    )
}

fn parts_that_differ(spec: &JobSpec, sources: &[Source<'_>]) -> Option<String> {
    let differing: Vec<String> = sources
        .iter()
        .filter_map(|source| {
            let likeness = likeness(spec, &source.state.spec)?;
            (likeness.distance() > 0)
                .then(|| format!("{} ({})", source.entry.job, likeness.sentence()))
        })
        .collect();
    (!differing.is_empty()).then(|| {
        format!(
            "Parts are not the same: {}. What parts do is in no number here.",
            differing.join("; ")
        )
    })
}

/// Returns the summary of a fit that had no reading.
fn summary(nodes: &[NodeChange], remarks: Vec<String>) -> FitSummary {
    let square = |node: &NodeChange| node.dwell_s * node.correction_percent.powi(2);
    let total: f64 = nodes.iter().map(|node| node.dwell_s).sum();
    let off = nodes.iter().map(square).sum::<f64>() / total.max(1e-9);
    FitSummary {
        estimator: baytrim_estimate::ESTIMATOR.to_owned(),
        reading_count: 0,
        noise_percent: 0.0,
        episode_percent: 0.0,
        pull_percent: 0.0,
        sensor_percent: FitSettings::default().sensor_percent,
        calibration_factor: 1.0,
        off_target_percent: off.sqrt(),
        remarks,
    }
}
