//! The program as a child, and the way to it.

use std::fs::File;
use std::io::{BufRead as _, BufReader};
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
    /// Connects; none when the program is gone already.
    pub(crate) async fn connect(&self) -> Option<Wire> {
        let endpoint = Endpoint::from_shared(self.url.clone()).unwrap();
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
