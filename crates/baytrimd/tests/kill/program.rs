//! The program as a child, and the way to it.

use std::fs::File;
use std::io::{BufRead as _, BufReader};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

use tonic::service::interceptor::InterceptedService;
use tonic::transport::{Channel, Endpoint};

use crate::bearer::Bearer;

/// A connection that shows a token with every call.
pub(crate) type Wire = InterceptedService<Channel, Bearer>;

/// Where a program listens, and the token that it lets in.
#[derive(Clone)]
pub(crate) struct Line {
    url: String,
    bearer: Bearer,
}

impl Line {
    /// Returns where the program itself listens.
    pub(crate) fn address(&self) -> SocketAddr {
        self.url.strip_prefix("http://").unwrap().parse().unwrap()
    }

    /// Returns the way through a proxy.
    pub(crate) fn through(&self, proxy: SocketAddr) -> Self {
        Self {
            url: format!("http://{proxy}"),
            bearer: self.bearer.clone(),
        }
    }

    /// Connects; none when the program is gone already.
    pub(crate) async fn connect(&self) -> Option<Wire> {
        let endpoint = Endpoint::from_shared(self.url.clone()).unwrap();
        // A connection that nothing comes through any more is noticed, as a bay's should.
        let endpoint = endpoint
            .http2_keep_alive_interval(Duration::from_millis(500))
            .keep_alive_timeout(Duration::from_millis(1500))
            .keep_alive_while_idle(true);
        let channel = endpoint.connect().await.ok()?;
        Some(Wire::new(channel, self.bearer.clone()))
    }
}

/// The program, serving a directory; killed when dropped.
pub(crate) struct Program {
    child: Child,
    output: std::cell::RefCell<BufReader<ChildStdout>>,
    data: PathBuf,
    told: PathBuf,
}

impl Program {
    pub(crate) fn start(data: &Path) -> Self {
        let told = data.with_extension("told");
        let mut child = Command::new(env!("CARGO_BIN_EXE_baytrimd"))
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .env_clear()
            .stdout(Stdio::piped())
            .stderr(File::create(&told).unwrap())
            .spawn()
            .unwrap();
        let output = BufReader::new(child.stdout.take().unwrap()).into();
        Self {
            child,
            output,
            data: data.to_owned(),
            told,
        }
    }

    /// Waits until it listens; none when it ended instead.
    pub(crate) fn listening(&self) -> Option<Line> {
        let mut line = String::new();
        self.output.borrow_mut().read_line(&mut line).unwrap();
        let url = line.trim().strip_prefix("listening on ")?.to_owned();
        let token = std::fs::read_to_string(self.data.join("owner.token")).unwrap();
        let bearer = Bearer::of(&token);
        Some(Line { url, bearer })
    }

    /// Returns the memory that is in use now (`VmRSS`, proc(5)), in KB.
    pub(crate) fn resident_kb(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        line.unwrap()
            .trim()
            .trim_end_matches(" kB")
            .parse()
            .unwrap()
    }

    /// Returns how many files and connections it has open.
    pub(crate) fn open_count(&self) -> usize {
        std::fs::read_dir(format!("/proc/{}/fd", self.child.id()))
            .unwrap()
            .count()
    }

    /// Returns what it wrote to its log.
    pub(crate) fn told(&self) -> String {
        std::fs::read_to_string(&self.told).unwrap_or_default()
    }

    /// Kills it without warning (`SIGKILL`).
    pub(crate) fn kill_after(mut self, time: Duration) {
        std::thread::sleep(time);
        self.child.kill().unwrap();
        let ended = self.child.wait().unwrap();
        assert!(
            ended.code().is_none(),
            "it ended by itself before it was killed: {}",
            self.told()
        );
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
