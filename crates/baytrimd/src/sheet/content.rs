//! What stands on the sheet, from the job's records alone.

use baytrim_jobs::JobState;
use baytrim_jobs::export::{self, Form, Format, Quantity, Rows};
use baytrim_jobs::stage_comparison::StageComparison;
use baytrim_jobs::state::ProposalEntry;
use baytrim_ledger::Head;
use baytrim_model::axis::Axes;
use baytrim_model::ids::UnixMillis;
use baytrim_model::revision::{Revision, RevisionOrigin};

use super::{stage_words, vehicle_words, words};

/// Most steps that are told one by one; earlier ones are counted.
const STEPS_MAX: usize = 8;

/// Most signs of notes and reasons: the sheet is short.
const NOTES_MAX: usize = 900;
const REASON_MAX: usize = 220;

/// The sheet.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// What people call the job.
    pub title: String,
    /// Its name.
    pub job: String,
    /// When something last happened to it: the sheet's date.
    pub at: UnixMillis,
    /// Notes of the job.
    pub notes: String,
    /// The vehicle's facts, each with its name.
    pub facts: Vec<(&'static str, String)>,
    /// How it came in.
    pub came_in: Vec<String>,
    /// How many earlier steps are not told.
    pub untold: usize,
    /// What was done, oldest first.
    pub steps: Vec<Step>,
    /// How it is now.
    pub now: Vec<String>,
    /// How the last stage compares with the first; empty where fewer than two were pulled.
    pub stages: Vec<String>,
    /// How the throttle answers the hand; none where no pull tells and no table came.
    pub grip: Vec<String>,
    /// Before and after in pictures; none where no proposal says it.
    pub maps: Option<Maps>,
    /// The table handed over.
    pub table: Table,
    /// How to tell the table again.
    pub seals: Vec<(&'static str, String)>,
    /// Under what conditions all of it holds.
    pub conditions: Vec<String>,
}

/// Something that was done.
#[derive(Debug, Clone)]
pub struct Step {
    /// What.
    pub what: String,
    /// By whom.
    pub by: String,
    /// When.
    pub at: UnixMillis,
    /// Why.
    pub why: String,
}

/// Fuel lacking (+) or too much (-) at each node, percent; none where the engine has not been.
#[derive(Debug, Clone)]
pub struct Maps {
    /// With the table that came.
    pub before: Vec<Option<f64>>,
    /// With the table handed over.
    pub after: Vec<Option<f64>>,
    /// Root mean square of each, weighted by the time the engine spent there.
    pub off_percent: [f64; 2],
}

/// The table handed over.
#[derive(Debug, Clone)]
pub struct Table {
    /// The axes.
    pub axes: Axes,
    /// Which revision.
    pub revision: String,
    /// Values in node order.
    pub values: Vec<f64>,
    /// Fuel change from the table that came, percent.
    pub change_percent: Vec<f64>,
    /// Decimals of its values.
    pub decimals: usize,
    /// Unit behind a value.
    pub unit: &'static str,
}

impl Sheet {
    /// Returns the sheet of a job whose records end at `head`; `stages` compares its last stage with its first.
    pub fn of(state: &JobState, head: &Head, stages: Option<&StageComparison>) -> Self {
        let maps = state
            .fuel_proposals()
            .next_back()
            .and_then(|entry| maps(state, entry));
        let steps: Vec<Step> = state
            .revisions
            .iter()
            .filter(|revision| revision.origin != RevisionOrigin::Base)
            .map(|r| step(state, r))
            .collect();
        let untold = steps.len().saturating_sub(STEPS_MAX);
        Self {
            title: state.spec.title.clone(),
            job: state.id().to_string(),
            at: words::last_activity(state),
            notes: words::cut(&state.spec.notes, NOTES_MAX),
            facts: words::facts(state),
            came_in: words::came_in(state, maps.as_ref()),
            untold,
            steps: steps.into_iter().skip(untold).collect(),
            now: words::now(state, maps.as_ref()),
            grip: words::grip(state),
            stages: stages.map_or_else(Vec::new, |found| stage_words::told(state, found)),
            conditions: [words::conditions(state), vehicle_words::told(state)].concat(),
            seals: seals(state, head),
            table: table(state),
            maps,
        }
    }
}

fn step(state: &JobState, revision: &Revision) -> Step {
    let changed = |earlier: &Revision| {
        let pairs = revision.values.iter().zip(&earlier.values);
        pairs
            .filter(|(now, then)| now.to_bits() != then.to_bits())
            .count()
    };
    let mut earlier = state.revisions_of(&revision.table).rev();
    let earlier = earlier.find(|earlier| earlier.id < revision.id);
    let table = match revision.table.mode() {
        None => "Table".to_owned(),
        Some(mode) => format!("Grip table (mode {mode})"),
    };
    let what = match &revision.origin {
        RevisionOrigin::Base => "The table that came".to_owned(),
        RevisionOrigin::Approval { proposal } => format!(
            "{table} {} from proposal {proposal}: {} of {} cells changed",
            revision.id,
            earlier.map_or(0, changed),
            revision.values.len()
        ),
        RevisionOrigin::Revert { to } => format!("{table} {}: {to} put back", revision.id),
    };
    Step {
        what,
        by: revision.created_by.to_string(),
        at: revision.created_at,
        why: words::cut(&revision.reason, REASON_MAX),
    }
}

/// Returns what the newest proposal's estimates say of the table that came and of the one in force.
fn maps(state: &JobState, entry: &ProposalEntry) -> Option<Maps> {
    let content = state.spec.table.content;
    let (base, head) = (&state.revisions[0].values, &state.head().values);
    let lacking = |values: &[f64]| -> Vec<Option<f64>> {
        let nodes = entry.proposal.nodes.iter().zip(values);
        nodes
            .map(|(node, &value)| {
                let needed = content.fuel(node.before) * (1.0 + node.correction_percent / 100.0);
                (node.visits > 0).then(|| (needed / content.fuel(value) - 1.0) * 100.0)
            })
            .collect()
    };
    let off = |map: &[Option<f64>]| {
        let nodes = entry.proposal.nodes.iter().zip(map);
        let (sum, weight) = nodes.fold((0.0, 0.0), |(sum, weight), (node, lacking)| {
            lacking.map_or((sum, weight), |lacking| {
                (
                    sum + node.dwell_s * lacking * lacking,
                    weight + node.dwell_s,
                )
            })
        });
        (weight > 0.0).then(|| (sum / weight).sqrt())
    };
    let (before, after) = (lacking(base), lacking(head));
    let off_percent = [off(&before)?, off(&after)?];
    Some(Maps {
        before,
        after,
        off_percent,
    })
}

fn table(state: &JobState) -> Table {
    let head = state.head();
    let trim = state.log_trim(head);
    Table {
        axes: state.spec.axes.clone(),
        revision: head.id.to_string(),
        values: head.values.clone(),
        change_percent: trim.iter().map(|trim| trim.exp_m1() * 100.0).collect(),
        decimals: words::decimals(state.spec.table.resolution),
        unit: words::unit(state.spec.table.content),
    }
}

fn seals(state: &JobState, head: &Head) -> Vec<(&'static str, String)> {
    let form = Form {
        format: Format::Csv,
        quantity: Quantity::Value,
        rows: Rows::Plate,
        decimals: None,
    };
    let file = export::render(state, state.head(), form);
    vec![
        ("Table handed over", state.head().id.to_string()),
        (
            "SHA-256 of its file",
            format!("{} ({})", file.sha256, file.file_name),
        ),
        (
            "Record",
            format!(
                "{} entries, the last sealed {}",
                state.record_count(),
                head.hash
            ),
        ),
    ]
}
