//! A proposal's page: see it, ask why, choose, decide.

pub(super) mod aspect;
pub(super) mod behind;
pub(super) mod decide_form;
mod grip;
pub(super) mod headline;
pub(super) mod node;
pub(super) mod part;
mod ruler;
pub(super) mod take;
mod talk;

use baytrim_estimate::limit::part_of_change;
use baytrim_jobs::JobState;
use baytrim_jobs::state::{ProposalEntry, ProposalStanding};
use baytrim_model::ids::UnixMillis;
use maud::{Markup, html};

use super::job::standing;
use super::moment::{age, moment};
use super::number::{breakpoint, decimals};
use super::{address, frame};
use aspect::{Aspect, Drawn};
use behind::Behind;
use decide_form::{Bars, Draft};
use take::{Rule, Take};

/// What is asked of a proposal's page.
pub(super) struct View<'a> {
    /// The job.
    pub(super) state: &'a JobState,
    /// The proposal.
    pub(super) entry: &'a ProposalEntry,
    /// What is shown of its table.
    pub(super) aspect: Aspect,
    /// The changes that are taken.
    pub(super) take: Take,
    /// The node whose details are shown.
    pub(super) node: Option<usize>,
    /// The readings near that node.
    pub(super) behind: Vec<Behind>,
    /// What stands in the form.
    pub(super) draft: Draft,
    /// What keeps who looks at it from deciding.
    pub(super) bars: Bars,
    /// The time of day.
    pub(super) now: UnixMillis,
}

impl<'a> View<'a> {
    /// Returns the page as it first shows: the changes, and those taken that the rule suggests or the verdict took.
    pub(super) fn first(state: &'a JobState, entry: &'a ProposalEntry, now: UnixMillis) -> Self {
        let approved = entry
            .verdict
            .as_ref()
            .map(|verdict| verdict.approved.as_ref());
        let take = match approved {
            Some(Some((_, nodes))) => Take::of(nodes, &entry.proposal),
            Some(None) | None => Take::by(Rule::Usual, &entry.proposal),
        };
        Self {
            state,
            entry,
            aspect: Aspect::Change,
            take,
            node: None,
            behind: Vec::new(),
            draft: Draft::default(),
            bars: Bars::default(),
            now,
        }
    }

    /// Returns whether a verdict can still be given, so that choosing makes sense.
    pub(super) fn is_open(&self) -> bool {
        self.state.standing(self.entry, self.now) == ProposalStanding::Open
    }

    /// Returns the table value of a node with what is taken; of an approved proposal, what its revision holds.
    pub(super) fn value(&self, index: usize) -> f64 {
        let approved = self.entry.verdict.as_ref();
        let approved = approved.and_then(|verdict| verdict.approved.as_ref());
        if let Some((revision, _)) = approved
            && let Ok(revision) = self.state.revision(*revision)
        {
            return revision.values[index];
        }
        self.proposed_value(index, self.take.share_at(index))
    }

    /// Returns the table value of a node at a share of its change.
    pub(super) fn proposed_value(&self, index: usize, share_percent: u8) -> f64 {
        let node = &self.entry.proposal.nodes[index];
        if share_percent == 0 {
            return node.before;
        }
        let share = f64::from(share_percent) / 100.0;
        part_of_change(&self.state.spec.table, node.before, node.after, share)
    }

    /// Returns the path of this proposal.
    pub(super) fn path(&self) -> String {
        address::proposal(self.state.id(), self.entry.proposal.id)
    }

    /// Returns the path of a aspect with the same choice of changes.
    pub(super) fn aspect_path(&self, aspect: Aspect) -> String {
        let path = format!("{}/{}", self.path(), aspect.as_str());
        if self.take == View::first(self.state, self.entry, self.now).take {
            return path;
        }
        format!("{path}/{}", self.take.code())
    }
}

/// Returns the page.
pub(super) fn page(view: &View<'_>) -> Markup {
    if let Some(grip) = &view.entry.proposal.grip {
        return grip::page(view, grip);
    }
    let (state, proposal) = (view.state, &view.entry.proposal);
    let title = format!("Proposal {} for {}", proposal.id, state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let values: Vec<f64> = (0..proposal.nodes.len())
        .map(|index| view.value(index))
        .collect();
    let parts: Vec<Option<f64>> = (0..proposal.nodes.len())
        .map(|index| part::taken_percent(view, index))
        .collect();
    let drawn = Drawn {
        axes: &state.spec.axes,
        proposal,
        take: &view.take,
        values: &values,
        parts: &parts,
        content: state.spec.table.content,
        node: view.node,
        decimals: decimals(state.spec.table.resolution),
    };
    let body = html! {
        div.title {
            h1 { "Proposal " (proposal.id) }
            p.quiet { (origin(view)) }
        }
        div.problem #meanwhile role="alert" hidden {}
        (decide_form::outcome(view))
        (headline::headline(&state.spec.axes, proposal))
        form method="post" action={ (view.path()) "/selection" } data-draft=(view.path())
            data-standing=(standing(view.state.standing(view.entry, view.now))) {
            // Enter in a text field presses a form's first button: this one does nothing.
            button type="submit" disabled hidden {}
            input type="hidden" name="aspect" value=(view.aspect.as_str());
            a.skip href="#decide" { "Skip the table" }
            div.review {
                section.table aria-label="The table" {
                    (tabs(view))
                    (rules(view))
                    (aspect::table(view.aspect, &drawn))
                    (aspect::legend(view.aspect, &drawn))
                }
                (node::details(view))
                (decide_form::form(view))
            }
            (talk::section(view))
        }
    };
    frame::page(&title, &way, &body)
}

fn origin(view: &View<'_>) -> Markup {
    let (state, proposal) = (view.state, &view.entry.proposal);
    let pulls = proposal.pulls.iter().enumerate();
    html! {
        "changes to "
        a href=(address::revision(state.id(), proposal.base_revision)) { (proposal.base_revision) }
        " from " (if proposal.pulls.len() == 1 { "pull " } else { "pulls " })
        @for (index, &pull) in pulls {
            @if index > 0 { ", " }
            a href=(address::pull(state.id(), pull)) { (pull) }
        }
        "; asked for by " (proposal.created_by) " " (age(proposal.created_at, view.now))
        ", " (moment(proposal.created_at))
    }
}

/// Returns the tabs: links, and where nodes are being chosen buttons that keep the choice.
fn tabs(view: &View<'_>) -> Markup {
    let shown = Aspect::ALL
        .into_iter()
        .filter(|&aspect| view.is_open() || aspect != Aspect::Choose);
    let node = view.node.map_or_else(String::new, |node| {
        let (rpm, plate_percent) = view.state.spec.axes.position(node);
        format!("?node={}:{}", breakpoint(rpm), breakpoint(plate_percent))
    });
    html! {
        nav.tabs aria-label="The table in five ways" {
            @for aspect in shown {
                @if aspect == view.aspect {
                    a aria-current="page" href={ (view.aspect_path(aspect)) (node) } { (aspect.tab()) }
                } @else if view.aspect == Aspect::Choose {
                    button type="submit" name="to" value=(aspect.as_str()) formnovalidate { (aspect.tab()) }
                } @else {
                    a href={ (view.aspect_path(aspect)) (node) } { (aspect.tab()) }
                }
            }
        }
    }
}

fn rules(view: &View<'_>) -> Markup {
    if view.aspect != Aspect::Choose {
        return html! {};
    }
    let proposal = &view.entry.proposal;
    html! {
        input type="hidden" name="boxes" value="1";
        div.rules role="group" aria-label="Choose by rule" {
            @for rule in Rule::ALL {
                button type="submit" name="rule" value=(rule.as_str()) formnovalidate
                    data-nodes=(Take::by(rule, proposal).code()) {
                    (rule.words()) " (" (Take::by(rule, proposal).count()) ")"
                }
            }
            button type="button" data-paint hidden aria-pressed="false" { "Paint by finger" }
            p.quiet {
                "As suggested leaves out what takes fuel off where less than half was measured. "
                "Proven: mostly measured here, and at least twice its standard error."
            }
        }
    }
}
