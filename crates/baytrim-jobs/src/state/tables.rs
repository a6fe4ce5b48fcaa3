//! The tables of a job: the fuel table, and one from grip to plate for each riding mode that brought one.

use baytrim_model::grip::GripTableSpec;
use baytrim_model::ids::{ModeName, RevisionId};
use baytrim_model::job::JobSpec;
use baytrim_model::revision::{Revision, TableKind};

use super::{JobState, ProposalEntry};
use crate::refusal::Refusal;

/// Returns the first revisions of a job: its fuel table `base`, then its grip tables in the order of their modes, with
/// the numbers after it.
pub(super) fn first_revisions(spec: &JobSpec, base: &Revision) -> Vec<Revision> {
    let numbered = (base.id.0 + 1..).zip(&spec.grip);
    let grip = |(number, (mode, table)): (u32, (&ModeName, &GripTableSpec))| Revision {
        id: RevisionId(number),
        table: TableKind::Grip { mode: mode.clone() },
        values: table.values(),
        ..base.clone()
    };
    std::iter::once(base.clone())
        .chain(numbered.map(grip))
        .collect()
}

impl JobState {
    /// Returns the revision of a table in force; none where the job has no such table.
    pub fn head_of(&self, table: &TableKind) -> Option<&Revision> {
        let mut latest = self.revisions.iter().rev();
        latest.find(|revision| revision.table == *table)
    }

    /// Returns the revisions of a table, oldest first.
    pub fn revisions_of<'a>(
        &'a self,
        table: &'a TableKind,
    ) -> impl DoubleEndedIterator<Item = &'a Revision> {
        let of = move |revision: &&Revision| revision.table == *table;
        self.revisions.iter().filter(of)
    }

    /// Returns whether a revision is in force for its table.
    pub fn is_in_force(&self, revision: &Revision) -> bool {
        let head = self.head_of(&revision.table);
        head.is_some_and(|head| head.id == revision.id)
    }

    /// Returns the proposals for the fuel table, oldest first.
    pub fn fuel_proposals(&self) -> impl DoubleEndedIterator<Item = &ProposalEntry> {
        let is_fuel = |entry: &&ProposalEntry| entry.proposal.table.is_fuel();
        self.proposals.iter().filter(is_fuel)
    }

    /// Returns a revision of the fuel table.
    ///
    /// # Errors
    /// When the job has no such revision, or it is one of another table.
    pub fn fuel_revision(&self, id: RevisionId) -> Result<&Revision, Refusal> {
        let found = self.revision(id)?;
        match found.table.mode() {
            None => Ok(found),
            Some(mode) => Err(Refusal::field(
                "revision",
                format!("{id} is a revision of the grip table of mode {mode}"),
                "name a revision of the fuel table",
            )),
        }
    }

    pub(crate) fn is_base_in_force(&self, entry: &ProposalEntry) -> bool {
        let head = self.head_of(&entry.proposal.table);
        head.is_some_and(|head| head.id == entry.proposal.base_revision)
    }

    pub(super) fn node_count_of(&self, table: &TableKind) -> Option<usize> {
        match table.mode() {
            None => Some(self.spec.axes.node_count()),
            Some(mode) => self.spec.grip.get(mode).map(GripTableSpec::node_count),
        }
    }
}
