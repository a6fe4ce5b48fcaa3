//! Which role each method of the API asks for: a method that has no row here is denied to everybody.

use std::collections::BTreeSet;

use baytrim_model::shop::{Policy, Role};

use Role::{Bay, Owner, Reviewer, Tuner};

/// Who may call one method.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// The method, `Service/Method`, without the package.
    pub method: &'static str,
    /// Roles that may call it; one of them is enough.
    pub roles: &'static [Role],
}

/// Everybody who is known.
const KNOWN: &[Role] = &[Bay, Tuner, Reviewer, Owner];
/// People, and what works for them: a bay sees only what it needs to submit.
const PEOPLE: &[Role] = &[Tuner, Reviewer, Owner];
/// Whatever submits.
const SUBMITTERS: &[Role] = &[Bay, Tuner];
/// Whoever opens jobs and computes.
const TUNERS: &[Role] = &[Tuner];
/// Whoever says how a bay's logs are read.
const TUNERS_AND_OWNERS: &[Role] = &[Tuner, Owner];
/// Whoever decides what becomes of a table.
const REVIEWERS: &[Role] = &[Reviewer];
/// Whoever says who may do what.
const OWNERS: &[Role] = &[Owner];

const fn row(method: &'static str, roles: &'static [Role]) -> Row {
    Row { method, roles }
}

/// Every method of the API with the roles that may call it.
pub const ROWS: &[Row] = &[
    row("AccessService/GetCaller", KNOWN),
    row("AccessService/CreateSignIn", PEOPLE),
    row("AccessService/CreateMember", OWNERS),
    row("AccessService/UpdateMember", OWNERS),
    row("AccessService/RemoveMember", OWNERS),
    row("AccessService/ListMembers", OWNERS),
    row("AccessService/CreateToken", OWNERS),
    row("AccessService/RevokeToken", OWNERS),
    row("AccessService/ListTokens", OWNERS),
    row("AccessService/GetPolicy", PEOPLE),
    row("AccessService/UpdatePolicy", OWNERS),
    row("BayService/CreateSensorCheck", TUNERS),
    row("BayService/GetBay", KNOWN),
    row("BayService/GetChannelMap", KNOWN),
    row("BayService/ListBays", KNOWN),
    row("BayService/ListChannelMaps", KNOWN),
    row("BayService/SetChannelMap", TUNERS_AND_OWNERS),
    row("CorrectionService/CreateProposal", TUNERS),
    row("CorrectionService/GetDelivery", PEOPLE),
    row("CorrectionService/GetProposal", PEOPLE),
    row("CorrectionService/ListProposals", PEOPLE),
    row("CorrectionService/PlanPull", KNOWN),
    row("CorrectionService/TraceNode", PEOPLE),
    row("CorrectionService/ReproduceProposal", PEOPLE),
    row("DaemonService/GetStatus", PEOPLE),
    row("JobService/CloseJob", TUNERS),
    row("JobService/CreateJob", TUNERS),
    row("JobService/GetJob", KNOWN),
    row("JobService/GetShopView", PEOPLE),
    row("JobService/ListJobs", KNOWN),
    row("JobService/RenderJobSheet", PEOPLE),
    row("JobService/ReopenJob", TUNERS),
    row("LedgerService/BackUpLedger", OWNERS),
    row("LedgerService/CreateCheckpoint", PEOPLE),
    row("LedgerService/ExportJob", PEOPLE),
    row("LedgerService/GetCheckpointProof", PEOPLE),
    row("LedgerService/ImportJob", OWNERS),
    row("LedgerService/ListRecords", PEOPLE),
    row("LedgerService/VerifyLedger", PEOPLE),
    row("LibraryService/CreateStartingTable", TUNERS),
    row("LibraryService/FindNearest", PEOPLE),
    row("LibraryService/ListLibrary", PEOPLE),
    row("PowerService/GetPower", KNOWN),
    row("PullService/GetPull", KNOWN),
    row("PullService/ListPulls", KNOWN),
    row("PullService/StreamPull", SUBMITTERS),
    row("PullService/SuggestChannels", SUBMITTERS),
    row("PullService/UploadPull", SUBMITTERS),
    row("ReviewService/ApproveProposal", REVIEWERS),
    row("ReviewService/CreateComment", PEOPLE),
    row("ReviewService/RejectProposal", REVIEWERS),
    row("StageService/AssignPull", TUNERS),
    row("StageService/CompareStages", PEOPLE),
    row("StageService/CreateStage", TUNERS),
    row("StageService/ListStages", KNOWN),
    row("TableService/ExportTable", PEOPLE),
    row("TableService/GetRevision", PEOPLE),
    row("TableService/ListRevisions", PEOPLE),
    row("TableService/RevertTable", REVIEWERS),
    row("WatchService/WatchProposals", PEOPLE),
    row("WatchService/WatchRecords", PEOPLE),
];

/// Returns the row of a method, where it has one.
pub fn find(method: &str) -> Option<&'static Row> {
    ROWS.iter().find(|row| row.method == method)
}

/// Returns whether one of `roles` may call `method` under `policy`.
pub fn permits(method: &str, roles: &BTreeSet<Role>, policy: &Policy) -> bool {
    find(method).is_some_and(|row| {
        let has = |role: &Role| roles.contains(role);
        // Where one person does everything, the owner is that person.
        row.roles.iter().any(has) || (policy.one_person && has(&Owner))
    })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// If this fails, a method has two rows, and which one holds depends on their order.
    #[test]
    fn each_method_has_one_row() {
        let methods: BTreeSet<&str> = ROWS.iter().map(|row| row.method).collect();
        assert_eq!(methods.len(), ROWS.len());
        assert!(ROWS.iter().all(|row| !row.roles.is_empty()));
    }

    /// If this fails, somebody without a role may do something, or a method nobody listed can be called.
    #[test]
    fn nothing_is_permitted_that_is_not_listed() {
        let one_person = Policy {
            one_person: true,
            ..Policy::default()
        };
        for policy in [Policy::default(), one_person] {
            for row in ROWS {
                assert!(
                    !permits(row.method, &BTreeSet::new(), &policy),
                    "{}",
                    row.method
                );
            }
            let all: BTreeSet<Role> = Role::ALL.into_iter().collect();
            assert!(!permits("JobService/ForgetJob", &all, &policy));
            assert!(!permits("", &all, &policy));
        }
    }

    /// If this fails, the owner gives verdicts in a shop of several people, or can't in a shop of one.
    #[test]
    fn owners_decide_only_where_one_person_does_everything() {
        let owner = BTreeSet::from([Owner]);
        let mut policy = Policy::default();
        assert!(!permits("ReviewService/ApproveProposal", &owner, &policy));
        policy.one_person = true;
        assert!(permits("ReviewService/ApproveProposal", &owner, &policy));
        assert!(!permits(
            "ReviewService/ApproveProposal",
            &BTreeSet::from([Tuner]),
            &policy
        ));
    }
}
