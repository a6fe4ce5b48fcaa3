//! Why the library does not help.

use baytrim_model::ids::JobId;

use super::RefusalKind;

/// Why the library does not help.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LibraryRefusal {
    /// No approved job of the shop is of the job's kind with the same parts.
    #[error(
        "no approved job of the shop is of the kind of {0} with the same parts; `baytrim library nearest {0}` shows the nearest, and `--from JOB` starts from one of them"
    )]
    Empty(JobId),
    /// A job does not say what its vehicle is.
    #[error(
        "job {0} does not say what its vehicle is: its job file has no [vehicle], so that it is in no library"
    )]
    NoVehicle(JobId),
    /// A job is of another kind of vehicle, or burns another fuel.
    #[error(
        "{other} is of another kind than {job}: model, generation, engine and fuel must be the same; `baytrim library nearest {job}` shows those that are"
    )]
    OtherKind {
        /// The job that is to start.
        job: JobId,
        /// The job asked for.
        other: JobId,
    },
    /// A job has nothing to teach.
    #[error(
        "{0} has nothing to teach: its table in force came of no approved proposal with pulls of its own and of the parts that are fitted"
    )]
    Untaught(JobId),
    /// An entry is not what a starting table was learnt from any more.
    #[error(
        "record {records} of job {job} is not what the starting table was learnt from; look with `baytrim ledger verify`"
    )]
    Changed {
        /// The job.
        job: JobId,
        /// Records that it had then.
        records: u64,
    },
}

impl LibraryRefusal {
    /// Returns the stable name of the refusal.
    pub(super) fn reason(&self) -> &'static str {
        match self {
            Self::Empty(_) => "LIBRARY_EMPTY",
            Self::NoVehicle(_) => "VEHICLE_NOT_SAID",
            Self::OtherKind { .. } => "OTHER_KIND",
            Self::Untaught(_) => "NOTHING_TO_TEACH",
            Self::Changed { .. } => "LIBRARY_ENTRY_CHANGED",
        }
    }

    /// Returns what kind of refusal it is.
    #[expect(clippy::unused_self, reason = "one more of another kind may come")]
    pub(super) fn kind(&self) -> RefusalKind {
        RefusalKind::State
    }
}
