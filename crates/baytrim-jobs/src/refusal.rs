//! Why a request is not granted.

mod kind;
mod library;

use baytrim_model::field::FieldError;
use baytrim_model::ids::{
    BayName, ChannelMapId, JobId, ModeName, ProposalId, PullId, RevisionId, StageId, UnixMillis,
};

use crate::moment::{span, utc};

pub use kind::RefusalKind;
pub use library::LibraryRefusal;

/// Why a request is not granted: a verdict about the request, not a fault of the program.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// Fields of the request are wrong.
    #[error("{}", list(.0))]
    Fields(Vec<FieldError>),
    /// The shop has a job of that name.
    #[error("the shop has a job {0} already; choose another `id`, or go on with that job")]
    JobExists(JobId),
    /// The shop has no such job.
    #[error("there is no job {0:?}; `baytrim job list` names those that there are")]
    JobUnknown(String),
    /// The job has no such bay.
    #[error("job {job} knows no bay {bay:?}; its bays are {known}")]
    BayUnknown {
        /// The job.
        job: JobId,
        /// The bay asked for.
        bay: String,
        /// The bays that the job knows, for people.
        known: String,
    },
    /// The bay has no channel map at all.
    #[error(
        "bay {0} has no channel map of its own; set one with `baytrim channels set {0} FILE.toml`"
    )]
    ChannelMapNone(BayName),
    /// The bay has no such channel map.
    #[error("bay {bay} has no channel map {id}; its latest is {latest}")]
    ChannelMapUnknown {
        /// The bay.
        bay: BayName,
        /// The map asked for.
        id: ChannelMapId,
        /// The latest that there is.
        latest: ChannelMapId,
    },
    /// The very channel map is in force already.
    #[error(
        "this very channel map is in force for bay {bay} already, as {id}; nothing was changed"
    )]
    ChannelMapInForce {
        /// The bay.
        bay: BayName,
        /// The map in force.
        id: ChannelMapId,
    },
    /// The very same log was taken already, read the same way.
    #[error(
        "this very log is in already as {job}/{pull}; counted twice, its readings would look like twice the proof"
    )]
    LogKnown {
        /// The job.
        job: JobId,
        /// The pull that it was taken as.
        pull: PullId,
    },
    /// The job has no such pull.
    #[error("job {job} has no pull {pull}; `baytrim pull list {job}` names those that it has")]
    PullUnknown {
        /// The job.
        job: JobId,
        /// The pull asked for.
        pull: PullId,
    },
    /// The job has no such proposal.
    #[error(
        "job {job} has no proposal {proposal}; `baytrim proposal list {job}` names those that it has"
    )]
    ProposalUnknown {
        /// The job.
        job: JobId,
        /// The proposal asked for.
        proposal: ProposalId,
    },
    /// The job has no such revision.
    #[error("job {job} has no revision {revision}; its latest is {latest}")]
    RevisionUnknown {
        /// The job.
        job: JobId,
        /// The revision asked for.
        revision: RevisionId,
        /// The latest that there is.
        latest: RevisionId,
    },
    /// The job has no such stage.
    #[error("job {job} has no stage {stage}; its latest is {latest}")]
    StageUnknown {
        /// The job.
        job: JobId,
        /// The stage asked for.
        stage: StageId,
        /// The latest that there is.
        latest: StageId,
    },
    /// A stage has no pull that could be compared.
    #[error(
        "stage {stage} of job {job} has no pull that was run with the table that its sender said; submit one with `baytrim pull submit {job} LOG --stage {stage}`, or assign one with `baytrim stage assign`"
    )]
    StageEmpty {
        /// The job.
        job: JobId,
        /// The stage.
        stage: StageId,
    },
    /// The job is closed, or in work, already.
    #[error("job {job} is {what} already; nothing was changed")]
    AlreadyStands {
        /// The job.
        job: JobId,
        /// `closed` or `in work`.
        what: &'static str,
    },
    /// There is nothing to fit.
    #[error(
        "job {job} has no pull to learn from{}; submit one with `baytrim pull submit {job} LOG --bay NAME`",
        parts(*parts_since)
    )]
    NoPulls {
        /// The job.
        job: JobId,
        /// The stage in which parts were fitted after every pull that it has; none without a pull.
        parts_since: Option<StageId>,
    },
    /// The library does not help.
    #[error(transparent)]
    Library(#[from] LibraryRefusal),
    /// All pulls together hold no accepted reading.
    #[error(
        "the gates refused every reading of job {0}; `baytrim pull show` says which gate refused what"
    )]
    NoEvidence(JobId),
    /// The job has no grip table for the riding mode.
    #[error("job {job} has no grip table for mode {mode}{}; its job file must give [grip.{mode}]", known_modes(.known))]
    GripTableNone {
        /// The job.
        job: JobId,
        /// The riding mode.
        mode: ModeName,
        /// The modes that it has a table for, for people.
        known: String,
    },
    /// No pull in the riding mode, with the table in force, has the hand standing still.
    #[error(
        "no pull of job {job} in mode {mode} with {revision} has the hand standing still where grip, plate and engine speed are logged; hold the grip at several places while engine speed sweeps, and submit with --mode {mode}"
    )]
    NoStays {
        /// The job.
        job: JobId,
        /// The riding mode.
        mode: ModeName,
        /// The grip table in force.
        revision: RevisionId,
    },
    /// A chosen part of a grip table falls, or breaks a slope limit that the whole keeps.
    #[error(
        "taking just this, from {from_grip_percent} to {to_grip_percent} % of grip the plate would go {slope:.2} % for a percent of grip, outside {slope_min} to {slope_max}; take both, or the whole"
    )]
    SubsetBreaksGrip {
        /// Grip at the lower end, percent.
        from_grip_percent: f64,
        /// At the upper end.
        to_grip_percent: f64,
        /// Plate for a percent of grip between them.
        slope: f64,
        /// Least that is permitted.
        slope_min: f64,
        /// Most that is permitted.
        slope_max: f64,
    },
    /// The proposal was computed from a revision that is not in force any more.
    #[error(
        "proposal {job}/{proposal} is stale: it was computed from {base}, and {head} is in force; compute it again with `baytrim propose {job}`"
    )]
    Stale {
        /// The job.
        job: JobId,
        /// The proposal.
        proposal: ProposalId,
        /// Revision that it was computed from.
        base: RevisionId,
        /// Revision in force.
        head: RevisionId,
    },
    /// The proposal has its verdict.
    #[error("proposal {job}/{proposal} was {verdict} by {by} already, {}{}", utc(*.at), became(*.revision))]
    Decided {
        /// The job.
        job: JobId,
        /// The proposal.
        proposal: ProposalId,
        /// `approved` or `rejected`.
        verdict: &'static str,
        /// Who gave the verdict.
        by: String,
        /// When.
        at: UnixMillis,
        /// The revision that came of it; none where rejected.
        revision: Option<RevisionId>,
    },
    /// The proposal's time is over.
    #[error(
        "proposal {job}/{proposal} expired {}: the rules of the shop gave it {}; compute it again with `baytrim propose {job}`",
        utc(*.at), span(*.valid_s)
    )]
    Expired {
        /// The job.
        job: JobId,
        /// The proposal.
        proposal: ProposalId,
        /// When it expired.
        at: UnixMillis,
        /// Seconds for which it was good.
        valid_s: u64,
    },
    /// Who asked for the proposal would approve it.
    #[error(
        "{reviewer} can't approve {job}/{proposal}: {proposer} asked for it, and a second pair of eyes decides; ask another reviewer, or withdraw it with `baytrim reject`"
    )]
    SameHand {
        /// The job.
        job: JobId,
        /// The proposal.
        proposal: ProposalId,
        /// Who asked for it.
        proposer: String,
        /// Who would approve it.
        reviewer: String,
    },
    /// Nobody knows who asked for the proposal, or who would approve it.
    #[error(
        "{job}/{proposal} can't be approved: nobody knows {what}, so nobody knows that two people saw it; {remedy}"
    )]
    HandUnknown {
        /// The job.
        job: JobId,
        /// The proposal.
        proposal: ProposalId,
        /// `who asked for it` or `who approves it`.
        what: &'static str,
        /// What to do.
        remedy: &'static str,
    },
    /// The etag is not that of the content.
    #[error("the etag is not that of {what} as it is now; read it again before deciding")]
    EtagMismatch {
        /// What the etag was meant for.
        what: String,
    },
    /// The proposal has no change to take.
    #[error("proposal {job}/{proposal} changes no node; there is nothing to approve")]
    NothingToApprove {
        /// The job.
        job: JobId,
        /// The proposal.
        proposal: ProposalId,
    },
    /// A chosen subset breaks a limit that the whole proposal meets.
    #[error(
        "taking just this would leave {rpm} rpm, {plate_percent} % and {neighbour_rpm} rpm, {neighbour_plate_percent} % further than {neighbour_percent} % apart{}; take both alike, or leave both", more(*.pair_count)
    )]
    SubsetBreaksNeighbour {
        /// Engine speed of the node.
        rpm: f64,
        /// Plate opening of the node in percent.
        plate_percent: f64,
        /// Engine speed of its neighbour.
        neighbour_rpm: f64,
        /// Plate opening of its neighbour in percent.
        neighbour_plate_percent: f64,
        /// Pairs that are too far apart, this one among them.
        pair_count: usize,
        /// The limit in percent.
        neighbour_percent: f64,
    },
    /// The proposal has as many comments as it may have.
    #[error(
        "proposal {job}/{proposal} has {max} comments, and more are not kept; say it elsewhere"
    )]
    CommentsFull {
        /// The job.
        job: JobId,
        /// The proposal.
        proposal: ProposalId,
        /// The limit.
        max: usize,
    },
    /// The revision asked for is in force already.
    #[error(
        "{revision} holds the very values that are in force in job {job}; there is nothing to put back"
    )]
    AlreadyInForce {
        /// The job.
        job: JobId,
        /// The revision.
        revision: RevisionId,
    },
    /// The same request id was used for something else.
    #[error("request id {0:?} was used for another request before; use a fresh one")]
    RequestIdReused(String),
}

impl Refusal {
    /// Returns the refusal of one wrong field.
    pub fn field(
        field: impl Into<String>,
        problem: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self::Fields(vec![FieldError::new(field, problem, remedy)])
    }

    /// Returns the refusal of a bay that the job does not know.
    pub fn bay_unknown<'a>(
        job: &JobId,
        bay: &str,
        known: impl Iterator<Item = &'a BayName>,
    ) -> Self {
        Self::BayUnknown {
            job: job.clone(),
            bay: bay.to_owned(),
            known: known.map(BayName::as_str).collect::<Vec<_>>().join(", "),
        }
    }
}

fn became(revision: Option<RevisionId>) -> String {
    revision.map_or_else(String::new, |revision| format!(", and became {revision}"))
}

fn parts(since: Option<StageId>) -> String {
    since.map_or_else(String::new, |stage| {
        format!(" that is not left out or older than the parts fitted in {stage}")
    })
}

fn known_modes(known: &str) -> String {
    match known {
        "" => String::new(),
        known => format!(" (it has one for {known})"),
    }
}

fn more(pair_count: usize) -> String {
    match pair_count {
        0 | 1 => String::new(),
        2 => ", and 1 more pair".to_owned(),
        count => format!(", and {} more pairs", count - 1),
    }
}

fn list(errors: &[FieldError]) -> String {
    let lines: Vec<String> = errors.iter().map(ToString::to_string).collect();
    lines.join("\n")
}
