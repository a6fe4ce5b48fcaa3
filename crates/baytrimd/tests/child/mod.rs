//! The real program as a child, what it uses of the machine, and the way to it; shared by tests and benches.
#![allow(dead_code, reason = "each test and each benchmark uses a part of it")]

pub(crate) mod live;

use std::cell::RefCell;
use std::fs::File;
use std::io::{BufRead as _, BufReader};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

use tonic::service::interceptor::InterceptedService;
use tonic::transport::{Channel, Endpoint};

use super::bearer::Bearer;

/// Ticks of a second in `/proc`: `USER_HZ`, the same on every Linux.
const TICKS_PER_S: f64 = 100.0;

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

    /// Returns the way for whoever has another token.
    pub(crate) fn with_token(&self, token: &str) -> Self {
        Self {
            url: self.url.clone(),
            bearer: Bearer::of(token),
        }
    }

    /// Returns the way through a proxy.
    pub(crate) fn through(&self, proxy: SocketAddr) -> Self {
        Self {
            url: format!("http://{proxy}"),
            bearer: self.bearer.clone(),
        }
    }

    /// Connects to a program that is there.
    pub(crate) async fn connect(&self) -> Wire {
        let channel = self.endpoint().connect().await.unwrap();
        Wire::new(channel, self.bearer.clone())
    }

    /// Connects, and notices when nothing comes through any more, as a bay should; none when the program is gone already.
    pub(crate) async fn connect_warily(&self) -> Option<Wire> {
        let endpoint = self
            .endpoint()
            .http2_keep_alive_interval(Duration::from_millis(500))
            .keep_alive_timeout(Duration::from_millis(1500))
            .keep_alive_while_idle(true);
        let channel = endpoint.connect().await.ok()?;
        Some(Wire::new(channel, self.bearer.clone()))
    }

    fn endpoint(&self) -> Endpoint {
        let endpoint = Endpoint::from_shared(self.url.clone()).unwrap();
        endpoint.tcp_nodelay(true)
    }
}

/// The program, serving a directory; killed when dropped.
pub(crate) struct Program {
    child: Child,
    output: RefCell<BufReader<ChildStdout>>,
    data: PathBuf,
    told: PathBuf,
}

impl Program {
    /// Starts it as nobody has configured it.
    pub(crate) fn start(data: &Path) -> Self {
        Self::start_with(data, "", &[])
    }

    /// Starts it with a configuration file of this content, and these variables in its environment.
    pub(crate) fn start_with(data: &Path, config: &str, environment: &[(&str, &str)]) -> Self {
        let (told, file) = (data.with_extension("told"), data.with_extension("toml"));
        std::fs::write(&file, config).unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_baytrimd"))
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .arg("--config")
            .arg(&file)
            .env_clear()
            .envs(environment.iter().copied())
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
        self.status("VmRSS:")
    }

    /// Returns the part of it that no file stands behind (`RssAnon`, proc(5)), in KB: pages of the program come and go.
    pub(crate) fn own_kb(&self) -> u64 {
        self.status("RssAnon:")
    }

    /// Returns how many threads it has.
    pub(crate) fn thread_count(&self) -> u64 {
        self.status("Threads:")
    }

    fn status(&self, name: &str) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = status.lines().find_map(|line| line.strip_prefix(name));
        let number = line.unwrap().trim().trim_end_matches(" kB");
        number.parse().unwrap()
    }

    /// Returns the processor time so far (`utime` and `stime`, proc(5)), in seconds.
    pub(crate) fn cpu_s(&self) -> f64 {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id())).unwrap();
        let after_name = stat.rsplit_once(") ").unwrap().1;
        // Fields 14 and 15; the first one here is the third.
        let fields = after_name.split(' ').skip(11).take(2);
        let ticks: f64 = fields.map(|text| text.parse::<f64>().unwrap()).sum();
        ticks / TICKS_PER_S
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

    /// Tells it to stop (`SIGTERM`, by kill(1)); returns whether it ended well by itself within `patience`.
    pub(crate) fn stop_within(mut self, patience: Duration) -> bool {
        let id = self.child.id().to_string();
        let told = Command::new("kill").arg(id).status().unwrap();
        assert!(told.success());
        let steps = patience.as_millis() / 20;
        for _ in 0..steps {
            if let Some(ended) = self.child.try_wait().unwrap() {
                return ended.success();
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        false
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
