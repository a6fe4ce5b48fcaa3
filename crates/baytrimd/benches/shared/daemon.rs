//! The program in a directory of its own, and the job that bays stream into.

use std::path::Path;

use baytrim_api::v1::CreateJobRequest;
use baytrim_api::v1::job_service_client::JobServiceClient;
use tempfile::TempDir;

use super::child::{Line, Program};

/// The job that all bays stream into.
pub(crate) const JOB: &str = "j";
/// As many bays as are ever measured, and some more.
const CONFIG: &str = "[limits]\nstreams_max = 256\n";

/// The program, serving the real disk.
pub(crate) struct Daemon {
    pub(crate) program: Program,
    pub(crate) line: Line,
    /// Kept until the program is gone.
    directory: Option<TempDir>,
}

impl Daemon {
    /// Starts one in a fresh directory, with the job that all bays stream into.
    pub(crate) async fn start() -> Self {
        let directory = tempfile::tempdir().unwrap();
        let mut daemon = Self::start_in(directory.path());
        daemon.directory = Some(directory);
        create_job(&daemon.line, JOB, baytrim_jobs::job_file::EXAMPLE).await;
        daemon
    }

    /// Starts one that keeps its ledger in `ledger` below `directory`.
    pub(crate) fn start_in(directory: &Path) -> Self {
        let program = Program::start_with(&directory.join("ledger"), CONFIG, &[]);
        let line = program.listening().unwrap();
        Self {
            program,
            line,
            directory: None,
        }
    }
}

pub(crate) async fn create_job(line: &Line, id: &str, file: &str) {
    let request = CreateJobRequest {
        job_id: id.to_owned(),
        job_file: file.to_owned(),
        ..CreateJobRequest::default()
    };
    JobServiceClient::new(line.connect().await)
        .create_job(request)
        .await
        .unwrap();
}
