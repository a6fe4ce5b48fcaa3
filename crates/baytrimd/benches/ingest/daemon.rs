//! The program as a child, what it uses of the machine, and the way to it.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use baytrim_api::v1::CreateJobRequest;
use baytrim_api::v1::job_service_client::JobServiceClient;
use tempfile::TempDir;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::{Channel, Endpoint};

use crate::bearer::Bearer;

/// The job that all bays stream into.
pub(crate) const JOB: &str = "j";
/// Ticks of a second in `/proc`: `USER_HZ`, the same on every Linux.
const TICKS_PER_S: f64 = 100.0;

/// A connection that shows a token with every call.
pub(crate) type Wire = InterceptedService<Channel, Bearer>;

/// Where the daemon listens, and the token that it lets in.
#[derive(Clone)]
pub(crate) struct Line {
    url: String,
    bearer: Bearer,
}

impl Line {
    pub(crate) async fn connect(&self) -> Wire {
        let endpoint = Endpoint::from_shared(self.url.clone()).unwrap();
        let channel = endpoint.tcp_nodelay(true).connect().await.unwrap();
        Wire::new(channel, self.bearer.clone())
    }
}

/// The program, serving a fresh directory on the real disk; killed when dropped.
pub(crate) struct Daemon {
    child: Child,
    line: Line,
    /// Kept until the program is gone.
    directory: Option<TempDir>,
}

impl Daemon {
    /// Starts one in a fresh directory, with the job that all bays stream into.
    pub(crate) async fn start() -> Self {
        let directory = tempfile::tempdir().unwrap();
        let mut daemon = Self::start_in(directory.path());
        daemon.directory = Some(directory);
        create_job(&daemon.line).await;
        daemon
    }

    /// Starts one that keeps its ledger in `ledger` below `directory`.
    pub(crate) fn start_in(directory: &Path) -> Self {
        let data = directory.join("ledger");
        let config = directory.join("d.toml");
        std::fs::write(&config, "[limits]\nstreams_max = 256\n").unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_baytrimd"))
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(&data)
            .arg("--config")
            .arg(&config)
            .env_clear()
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        let url = line.trim().strip_prefix("listening on ").unwrap();
        let token = std::fs::read_to_string(data.join("owner.token")).unwrap();
        let bearer = Bearer::of(&token);
        let url = url.to_owned();
        Self {
            child,
            line: Line { url, bearer },
            directory: None,
        }
    }

    pub(crate) fn line(&self) -> Line {
        self.line.clone()
    }

    /// Returns the memory that is in use now (`VmRSS`, proc(5)), in KB.
    pub(crate) fn resident_kb(&self) -> f64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        let number = line.unwrap().trim().trim_end_matches(" kB");
        number.parse().unwrap()
    }

    /// Returns the processor time so far (`utime` and `stime`, proc(5)), in seconds.
    pub(crate) fn cpu_s(&self) -> f64 {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id())).unwrap();
        let after_name = stat.rsplit_once(") ").unwrap().1;
        let fields: Vec<&str> = after_name.split(' ').collect();
        // Fields 14 and 15; the first one here is the third.
        let ticks: f64 = fields[11..13]
            .iter()
            .map(|text| text.parse::<f64>().unwrap())
            .sum();
        ticks / TICKS_PER_S
    }
}

pub(crate) async fn create_job(line: &Line) {
    let request = CreateJobRequest {
        job_id: JOB.to_owned(),
        job_file: baytrim_jobs::job_file::EXAMPLE.to_owned(),
        ..CreateJobRequest::default()
    };
    JobServiceClient::new(line.connect().await)
        .create_job(request)
        .await
        .unwrap();
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        drop(self.directory.take());
    }
}
