//! What a reviewer takes of a proposal for a grip table: all of it, or some grips, as proposed.

use baytrim_model::grip::{GripChange, GripTableSpec};
use baytrim_model::proposal::Proposal;

use super::choice::{Choice, Taken};
use crate::refusal::Refusal;
use crate::state::JobState;

/// Slack of a slope limit: values are on steps, and a limit that is met is met to the last bit or so.
const SLACK: f64 = 1e-6;

/// Returns what `choice` takes.
///
/// # Errors
/// When it asks for a share, for nodes of the fuel table or for a grip where nothing changes, or when what is taken
/// falls or breaks a slope limit.
pub(super) fn taken(
    state: &JobState,
    proposal: &Proposal,
    grip: &GripChange,
    choice: &Choice,
) -> Result<Taken, Refusal> {
    let unknown = || Refusal::ProposalUnknown {
        job: state.id().clone(),
        proposal: proposal.id,
    };
    let mode = proposal.table.mode().ok_or_else(unknown)?;
    let spec = state.spec.grip.get(mode).ok_or_else(unknown)?;
    let head = state.head_of(&proposal.table).ok_or_else(unknown)?;
    check_whole(choice)?;
    let columns = chosen(state, proposal, grip, choice)?;
    let mut values = head.values.clone();
    for &column in &columns {
        for (row, after) in grip.rows[column].after.iter().enumerate() {
            values[row * grip.rows.len() + column] = *after;
        }
    }
    check_slopes(spec, &values, &columns)?;
    Ok(Taken {
        nodes: columns,
        reduced: Vec::new(),
        values,
    })
}

fn check_whole(choice: &Choice) -> Result<(), Refusal> {
    if choice.share_percent < 100.0 {
        return Err(Refusal::field(
            "share_percent",
            "a grip table has no part of a change",
            "take grips as proposed, or the whole",
        ));
    }
    if !choice.nodes.is_empty() {
        return Err(Refusal::field(
            "nodes",
            "names nodes of the fuel table",
            "name grips of the grip table by grip_percent",
        ));
    }
    Ok(())
}

/// Returns the columns of a choice in order.
fn chosen(
    state: &JobState,
    proposal: &Proposal,
    grip: &GripChange,
    choice: &Choice,
) -> Result<Vec<usize>, Refusal> {
    let all: Vec<usize> = (0..grip.rows.len())
        .filter(|&column| grip.rows[column].is_change())
        .collect();
    if all.is_empty() {
        return Err(Refusal::NothingToApprove {
            job: state.id().clone(),
            proposal: proposal.id,
        });
    }
    if choice.grip_percent.is_empty() {
        return Ok(all);
    }
    let find = |(index, asked): (usize, &f64)| {
        let found = all
            .iter()
            .find(|&&column| (grip.rows[column].grip_percent - asked).abs() < 1e-6);
        found.copied().ok_or_else(|| {
            Refusal::field(
                format!("nodes[{index}]"),
                format!("nothing is proposed for {asked} % of grip"),
                "choose among the grips that change",
            )
        })
    };
    let columns = choice.grip_percent.iter().enumerate().map(find);
    let mut columns = columns.collect::<Result<Vec<_>, _>>()?;
    columns.sort_unstable();
    columns.dedup();
    Ok(columns)
}

/// The whole keeps its limits; a part must too wherever it touches. What stays as it was is not judged.
fn check_slopes(spec: &GripTableSpec, values: &[f64], columns: &[usize]) -> Result<(), Refusal> {
    match broken_by(spec, values, columns) {
        None => Ok(()),
        Some(refusal) => Err(refusal),
    }
}

/// Returns the first pair of breakpoints, one of them among `columns`, between which `values` fall or break a slope
/// limit of the table; none where they keep to all.
pub fn broken_by(spec: &GripTableSpec, values: &[f64], columns: &[usize]) -> Option<Refusal> {
    let grips = &spec.grip_percent;
    for (row, plates) in values.chunks(grips.len()).enumerate() {
        let rpm = spec.rpm.get(row).copied();
        let rolls = spec.roll_off.zip(rpm);
        // Where the opening is rolled off, slopes shrink with it: there it must only not fall.
        let is_full = rolls.is_none_or(|(off, rpm)| off.share_at(rpm) >= 1.0);
        let slope_min = if is_full { spec.slope_min } else { 0.0 };
        for at in 1..grips.len() {
            let slope = (plates[at] - plates[at - 1]) / (grips[at] - grips[at - 1]);
            let touched = columns.contains(&at) || columns.contains(&(at - 1));
            if touched && !(slope_min - SLACK..=spec.slope_max + SLACK).contains(&slope) {
                return Some(Refusal::SubsetBreaksGrip {
                    from_grip_percent: grips[at - 1],
                    to_grip_percent: grips[at],
                    slope,
                    slope_min,
                    slope_max: spec.slope_max,
                });
            }
        }
    }
    None
}
