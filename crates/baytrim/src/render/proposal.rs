//! A proposal, readable as a diff; lists of proposals.

use baytrim_api::v1::proposal::State;
use baytrim_api::v1::{Proposal, Verdict};

use super::columns::{Edge, columns};
use super::comments::comments;
use super::grip;
use super::look::worth_a_look;
use super::number::fixed;
use super::proposal_grid::change_grid;
use super::proposal_summary::summary;
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang, minute, moment, plain, wrap};
use crate::name::{job_of, number, short};

/// Returns a proposal as a reviewer reads it: the summary, the changes as a table, the nodes worth
/// a look, the cautions, and the commands to go on with.
///
/// A proposal that was only computed, so has no number, says so.
pub fn render_proposal(proposal: &Proposal, options: &RenderOptions) -> String {
    let [told, grid, look] = if proposal.grip_mode.is_empty() {
        [
            summary(proposal, options),
            change_grid(proposal, options),
            worth_a_look(proposal, options),
        ]
    } else {
        [
            grip::change(proposal, options),
            String::new(),
            String::new(),
        ]
    };
    let parts = [
        heading(proposal, options),
        told,
        grid,
        look,
        comments(&proposal.comments, options),
        cautions(&proposal.cautions, options),
        next(proposal, options),
    ];
    let parts: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    parts.join("\n")
}

/// Returns the proposals of a job, one a line.
pub fn render_proposals(proposals: &[Proposal], options: &RenderOptions) -> String {
    if proposals.is_empty() {
        return "No proposals yet.\n".to_owned();
    }
    let row = |proposal: &Proposal| {
        let off = proposal
            .fit
            .as_ref()
            .map(|fit| fixed(fit.off_target_percent, 1) + " %");
        [
            short(&proposal.name),
            state_name(proposal.state()).to_owned(),
            plain(number(&proposal.base_revision)),
            plain(&proposal.pulls.join(",")),
            proposal.change_count.to_string(),
            off.unwrap_or_default(),
            minute(proposal.create_time.map(|time| time.to_string())),
            plain(&proposal.creator),
        ]
    };
    let rows: Vec<_> = proposals.iter().map(row).collect();
    let heads = [
        ("proposal", Edge::Left),
        ("state", Edge::Left),
        ("against", Edge::Left),
        ("pulls", Edge::Left),
        ("changes", Edge::Right),
        ("off target", Edge::Right),
        ("made (UTC)", Edge::Left),
        ("by", Edge::Left),
    ];
    columns(heads, &rows, options)
}

/// Returns what a verdict changed, and what to do next.
pub fn render_verdict(proposal: &Proposal, options: &RenderOptions) -> String {
    let name = short(&proposal.name);
    let verdict = proposal
        .verdict
        .as_ref()
        .map(verdict_sentence)
        .unwrap_or_default();
    let state = state_name(proposal.state());
    let text = format!("{name} is {state}. {verdict}");
    wrap(&text, options.width, 0) + "\n" + &next(proposal, options)
}

/// Returns the name of a state as people and scripts read it.
pub(crate) fn state_name(state: State) -> &'static str {
    match state {
        State::Unspecified => "unknown",
        State::Open => "open",
        State::Approved => "approved",
        State::Rejected => "rejected",
        State::Stale => "stale",
        State::Expired => "expired",
    }
}

/// Returns whether the proposal is on record.
pub(crate) fn is_recorded(proposal: &Proposal) -> bool {
    proposal.name.contains("/proposals/c")
}

fn heading(proposal: &Proposal, options: &RenderOptions) -> String {
    let pulls = match proposal.pulls.as_slice() {
        [] if proposal.start.is_some() => "other vehicles of its kind".to_owned(),
        [] => "no pulls".to_owned(),
        [pull] => format!("pull {pull}"),
        pulls => format!("pulls {}", pulls.join(", ")),
    };
    let base = number(&proposal.base_revision);
    let title = if is_recorded(proposal) {
        let (name, state) = (short(&proposal.name), state_name(proposal.state()));
        format!("Proposal {name} ({state}): changes to {base} from {pulls}")
    } else {
        format!("Not recorded: changes to {base} from {pulls}")
    };
    let mut page = String::new();
    for line in wrap(&plain(&title), options.width, 0).lines() {
        page += &(options.paint(Ink::Strong, line) + "\n");
    }
    if is_recorded(proposal) {
        let made = moment(proposal.create_time.map(|time| time.to_string()));
        let line = format!("Made {made} by {}", plain(&proposal.creator));
        page += &(options.paint(Ink::Quiet, &line) + "\n");
        if let (State::Open | State::Expired, Some(time)) = (proposal.state(), proposal.expire_time)
        {
            let line = format!("Can be approved until {}", moment(Some(time.to_string())));
            page += &(options.paint(Ink::Quiet, &line) + "\n");
        }
    }
    if let Some(verdict) = &proposal.verdict {
        page += &wrap(&verdict_sentence(verdict), options.width, 0);
    }
    page
}

fn verdict_sentence(verdict: &Verdict) -> String {
    let when = moment(verdict.create_time.map(|time| time.to_string()));
    let (who, why) = (plain(&verdict.reviewer), plain(&verdict.reason));
    let duty = if verdict.one_person {
        " in a shop of one person"
    } else {
        ""
    };
    if verdict.approved {
        let nodes = counted(verdict.approved_node_count as usize, "node");
        let revision = plain(number(&verdict.revision));
        let less = match verdict.reduced_node_count {
            0 => String::new(),
            count => format!(" ({count} of them less than proposed)"),
        };
        format!("Approved by {who}{duty}, {when}: {nodes}{less} became {revision}. Reason: {why}")
    } else {
        format!("Rejected by {who}{duty}, {when}. Reason: {why}")
    }
}

fn cautions(cautions: &[String], options: &RenderOptions) -> String {
    if cautions.is_empty() {
        return String::new();
    }
    let mut page = options.paint(Ink::Strong, "Caution") + "\n";
    for caution in cautions {
        page += &hang(&format!("! {}", plain(caution)), options.width, 2, 4);
    }
    page
}

fn next(proposal: &Proposal, options: &RenderOptions) -> String {
    let (name, job) = (short(&proposal.name), job_of(&proposal.name));
    let mode = plain(&proposal.grip_mode);
    let (part, propose) = match mode.as_str() {
        "" => ("--only RPM:PLATE,…", format!("baytrim propose {job}")),
        mode => (
            "--grip PERCENT,…",
            format!("baytrim grip propose {job} --mode {mode}"),
        ),
    };
    let commands = match proposal.state() {
        _ if !is_recorded(proposal) => vec![propose],
        State::Open => vec![
            format!("baytrim approve {name} --reason \"…\""),
            format!("baytrim approve {name} {part} --reason \"…\""),
            format!("baytrim reject {name} --reason \"…\""),
        ],
        State::Approved if !mode.is_empty() => {
            let revision = proposal
                .verdict
                .as_ref()
                .map(|verdict| number(&verdict.revision));
            let revision = plain(revision.unwrap_or("rN"));
            vec![
                format!("baytrim table show {job} --revision {revision}"),
                format!(
                    "baytrim table export {job} --revision {revision} --format csv --output {job}-grip.csv"
                ),
                format!("baytrim pull submit {job} LOG --bay NAME --mode {mode}"),
            ]
        }
        State::Approved => vec![
            format!("baytrim table show {job}"),
            format!("baytrim table export {job} --format csv --output {job}.csv"),
            format!("baytrim pull submit {job} LOG --bay NAME"),
        ],
        State::Stale | State::Expired | State::Rejected => {
            vec![format!("baytrim pull submit {job} LOG --bay NAME"), propose]
        }
        State::Unspecified => return String::new(),
    };
    let mut page = options.paint(Ink::Strong, "Next") + "\n";
    for command in commands {
        page += &format!("  {command}\n");
    }
    page
}
