//! How the plate follows the hand in a job, and what its grip tables are to become.

mod plan;
mod words;

use std::collections::{BTreeMap, BTreeSet};

use baytrim_model::grip::{GripCell, GripTableSpec, Stay};
use baytrim_model::ids::{ModeName, PullId, RevisionId};
use baytrim_model::pull::PullRecord;
use baytrim_model::revision::TableKind;
use baytrim_rider::{Delivery, Estimate, GRIP_STEP_PERCENT, TableRules, delivery, mean_of};

use crate::state::JobState;

pub use plan::{chosen, plan};
pub use words::sentences;

/// Cautions that go with every proposal for a grip table.
pub const CAUTIONS: [&str; 4] = [
    "A plate that opens further than the hand asks can throw a rider: try a table on the roller first, never on the road.",
    "Leave the control unit's own limits and monitors as they are; no table may work around them.",
    "This is advice. A licensed, competent person decides, and answers for the engine and its rider.",
    "Local law comes first: changing how the throttle answers may be unlawful on the road.",
];

/// A drift that nobody feels, percent of plate over 1000 rpm. Common practice.
pub const DRIFT_FELT_PERCENT_PER_1000_RPM: f64 = 0.1;

/// A step whose gain is proven to be this many times the mean gain is called uneven. Common practice.
pub const UNEVEN_FACTOR: f64 = 1.25;

/// How the plate follows the hand in one riding mode with one table.
#[derive(Debug, Clone, PartialEq)]
pub struct ModeDelivery {
    /// The riding mode.
    pub mode: ModeName,
    /// The revision of its grip table that was loaded; none where the job has none.
    pub revision: Option<RevisionId>,
    /// The pulls behind it.
    pub pulls: Vec<PullId>,
    /// Pulls in this mode that had another revision loaded.
    pub other_pulls: Vec<PullId>,
    /// Drift and gain by place of the hand.
    pub delivery: Delivery,
    /// Drift over all stays that swept engine speed.
    pub drift: Option<Estimate>,
    /// How far the plate stood from what the table says, percent, over stays; none without a table.
    pub off_table: Option<Estimate>,
    /// Where the plate stood, least grip and slowest engine first.
    pub surface: Vec<GripCell>,
}

impl ModeDelivery {
    /// Returns whether the plate is proven to move while the hand does not.
    pub fn drifts(&self) -> bool {
        let points = self.delivery.points.iter();
        let places = points.filter_map(|point| point.drift_percent_per_1000_rpm);
        self.drift.iter().copied().chain(places).any(|drift| {
            let felt = DRIFT_FELT_PERCENT_PER_1000_RPM;
            let proven = |(low, high): (f64, f64)| low > felt || high < -felt;
            drift.interval.is_some_and(proven)
        })
    }

    /// Returns the place in `delivery.gains` of each step that is proven to be steeper than the mean.
    pub fn steep_steps(&self) -> Vec<usize> {
        let gains = self.delivery.gains.iter().enumerate();
        let steep = gains.filter(|(_, gain)| {
            let interval = gain.over_mean.and_then(|over| over.interval);
            interval.is_some_and(|(low, _)| low > UNEVEN_FACTOR)
        });
        steep.map(|(index, _)| index).collect()
    }
}

/// Returns how the plate follows the hand in each riding mode that a pull was run in or that has a table: with the
/// revision in force where a pull had it loaded, else with the latest that one had.
pub fn deliveries(state: &JobState) -> Vec<ModeDelivery> {
    let ran = state
        .pulls
        .iter()
        .filter(|entry| entry.record.summary.grip.is_some());
    let ran = ran.map(|entry| mode_of(&entry.record));
    let modes: BTreeSet<ModeName> = ran.chain(state.spec.grip.keys().cloned()).collect();
    modes
        .into_iter()
        .map(|mode| mode_delivery(state, mode))
        .collect()
}

/// Returns the riding mode of a pull.
pub fn mode_of(pull: &PullRecord) -> ModeName {
    pull.mode.clone().unwrap_or_else(ModeName::unnamed)
}

fn mode_delivery(state: &JobState, mode: ModeName) -> ModeDelivery {
    let table = TableKind::Grip { mode: mode.clone() };
    let head = state.head_of(&table).map(|head| head.id);
    let mut by_revision: BTreeMap<Option<RevisionId>, Vec<&PullRecord>> = BTreeMap::new();
    for entry in &state.pulls {
        if entry.record.summary.grip.is_some() && mode_of(&entry.record) == mode {
            let loaded = entry.record.grip_revision;
            by_revision.entry(loaded).or_default().push(&entry.record);
        }
    }
    let revision = if by_revision.contains_key(&head) {
        head
    } else {
        by_revision.keys().next_back().copied().unwrap_or(head)
    };
    let pulls = by_revision.remove(&revision).unwrap_or_default();
    let mut other_pulls: Vec<PullId> = by_revision.values().flatten().map(|pull| pull.id).collect();
    other_pulls.sort_unstable();
    of_pulls(state, mode, revision, &pulls, other_pulls)
}

/// Returns how the plate follows the hand by `pulls`.
fn of_pulls(
    state: &JobState,
    mode: ModeName,
    revision: Option<RevisionId>,
    pulls: &[&PullRecord],
    other_pulls: Vec<PullId>,
) -> ModeDelivery {
    let grips = || pulls.iter().filter_map(|pull| pull.summary.grip.as_ref());
    let stays: Vec<Stay> = grips()
        .flat_map(|grip| grip.stays.iter().copied())
        .collect();
    let drifts: Vec<f64> = stays
        .iter()
        .filter_map(|stay| stay.drift_percent_per_1000_rpm)
        .collect();
    let loaded = revision.and_then(|id| state.revision(id).ok());
    let off_table = loaded
        .zip(state.spec.grip.get(&mode))
        .and_then(|(loaded, spec)| {
            let off = stays.iter().map(|stay| {
                stay.plate_percent - plate_at(spec, &loaded.values, stay.grip_percent, stay.rpm)
            });
            mean_of(&off.collect::<Vec<f64>>())
        });
    ModeDelivery {
        mode,
        revision,
        pulls: pulls.iter().map(|pull| pull.id).collect(),
        other_pulls,
        delivery: delivery(&stays, GRIP_STEP_PERCENT),
        drift: mean_of(&drifts),
        off_table,
        surface: surface(grips().flat_map(|grip| grip.cells.iter().copied())),
    }
}

fn surface(cells: impl Iterator<Item = GripCell>) -> Vec<GripCell> {
    let mut together: Vec<GripCell> = Vec::new();
    for cell in cells {
        let place = |other: &GripCell| {
            let grip = other.grip_percent.total_cmp(&cell.grip_percent);
            grip.then(other.rpm.total_cmp(&cell.rpm))
        };
        match together.binary_search_by(place) {
            Ok(index) => {
                let found = &mut together[index];
                let (rows, more) = (f64::from(found.row_count), f64::from(cell.row_count));
                found.plate_percent =
                    (found.plate_percent * rows + cell.plate_percent * more) / (rows + more);
                found.row_count = found.row_count.saturating_add(cell.row_count);
            }
            Err(index) => together.insert(index, cell),
        }
    }
    together
}

/// Returns what a proposal for the table must keep to.
pub fn rules(spec: &GripTableSpec) -> TableRules {
    TableRules {
        grip_percent: spec.grip_percent.clone(),
        slope_min: spec.slope_min,
        slope_max: spec.slope_max,
        smoothness: spec.smoothness,
        roll_off: spec.roll_off,
    }
}

/// Returns what a table says, percent of plate: straight between its breakpoints, its outermost ones beyond them.
pub fn plate_at(spec: &GripTableSpec, values: &[f64], grip_percent: f64, rpm: f64) -> f64 {
    let along = |row: usize| {
        let columns = spec.grip_percent.len();
        let (at, way) = place(&spec.grip_percent, grip_percent);
        let value = |column: usize| values[row * columns + column.min(columns - 1)];
        value(at) + way * (value(at + 1) - value(at))
    };
    let (row, way) = place(&spec.rpm, rpm);
    let (slow, fast) = (along(row), along((row + 1).min(spec.row_count() - 1)));
    slow + way * (fast - slow)
}

/// Returns the breakpoint below a value and how far it is to the next, 0 to 1.
fn place(breakpoints: &[f64], value: f64) -> (usize, f64) {
    let above = breakpoints.partition_point(|&breakpoint| breakpoint <= value);
    match (above.checked_sub(1), breakpoints.get(above)) {
        (None, _) => (0, 0.0),
        (Some(last), None) => (last, 0.0),
        (Some(below), Some(next)) => {
            let from = breakpoints[below];
            (below, (value - from) / (next - from))
        }
    }
}
