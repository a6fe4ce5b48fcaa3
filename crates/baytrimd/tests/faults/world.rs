//! Nodes and daemons in networks of their own, and what happens to them.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Where each daemon is, in the networks that `tests/postgres/nodes.sh` makes.
const MACHINES: [(&str, &str); 3] = [
    ("d1", "10.77.0.11"),
    ("d2", "10.77.0.12"),
    ("d3", "10.77.0.13"),
];

/// The ledger, as every daemon reaches it.
pub(crate) const URL: &str =
    "postgres://postgres@10.77.0.1,10.77.0.2,10.77.0.3/postgres?sslmode=disable";

const NODES: [&str; 3] = ["a", "b", "c"];

#[expect(
    clippy::disallowed_methods,
    reason = "the script tells the tests where things are"
)]
pub(crate) fn told(name: &str) -> String {
    std::env::var(name)
        .unwrap_or_else(|_| panic!("{name} is not set; run tests/postgres/faults.sh"))
}

/// Tells the script of the nodes something, and returns what it says.
fn nodes(arguments: &[&str]) -> String {
    let mut command = Command::new(told("BAYTRIM_TEST_NODES_SH"));
    // No pipe for what is started: its end would be waited for.
    let stdout = if arguments[0] == "start" {
        Stdio::null()
    } else {
        Stdio::piped()
    };
    let child = command
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(stdout)
        .spawn();
    let output = child.unwrap().wait_with_output().unwrap();
    assert!(output.status.success(), "{arguments:?}");
    String::from_utf8(output.stdout).unwrap().trim().to_owned()
}

/// Runs a statement at whichever node takes writes; none when there is no such node.
pub(crate) fn sql(text: &str) -> Option<String> {
    let psql = Path::new(&told("BAYTRIM_TEST_POSTGRES_BIN")).join("psql");
    let place = "host=10.77.0.1,10.77.0.2,10.77.0.3 user=postgres connect_timeout=2 target_session_attrs=read-write";
    let output = Command::new("timeout")
        .arg("10")
        .arg(psql)
        .args(["-AtXq", "-v", "ON_ERROR_STOP=1", "-d", place, "-c", text])
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout).trim().to_owned();
    output.status.success().then_some(text)
}

/// Waits until a primary has `count` standbys, one of them with every commit; returns whether it came to that.
#[expect(clippy::disallowed_methods, reason = "a bound in time")]
pub(crate) fn is_whole(count: usize, within: Duration) -> bool {
    let query = "select count(*) filter (where state = 'streaming' and application_name in ('a', 'b', 'c')), \
                 count(*) filter (where sync_state in ('sync', 'quorum') and state = 'streaming') from pg_stat_replication";
    let began = Instant::now();
    while began.elapsed() < within {
        let standing = sql(query).unwrap_or_default();
        let numbers: Vec<usize> = standing
            .split('|')
            .filter_map(|part| part.parse().ok())
            .collect();
        if let [standbys, durable] = numbers[..]
            && standbys >= count
            && durable >= 1
        {
            return true;
        }
        std::thread::sleep(Duration::from_millis(300));
    }
    false
}

/// What can happen to a database node.
#[derive(Debug, Clone, Copy)]
pub(crate) enum NodeFault {
    /// Every process of the machine is killed.
    Kill,
    /// Every process of PostgreSQL is killed.
    KillDatabase,
    /// Every process of the machine stands still, and goes on later as if nothing had been.
    Pause,
    /// Nothing reaches the machine or comes from it.
    Isolate,
}

/// Does something to a node.
pub(crate) fn strike(fault: NodeFault, node: &str) {
    let verb = match fault {
        NodeFault::Kill => "kill",
        NodeFault::KillDatabase => "kill-database",
        NodeFault::Pause => "pause",
        NodeFault::Isolate => "isolate",
    };
    nodes(&[verb, node]);
}

/// Undoes it.
pub(crate) fn heal(fault: NodeFault, node: &str) {
    match fault {
        NodeFault::Kill => drop(nodes(&["start", node])),
        NodeFault::KillDatabase => {}
        NodeFault::Pause => drop(nodes(&["resume", node])),
        NodeFault::Isolate => drop(nodes(&["join", node])),
    }
}

/// Kills a node and starts it anew, as whoever looks after it would.
pub(crate) fn restart(node: &str) {
    nodes(&["kill", node]);
    nodes(&["start", node]);
}

/// Returns the node that takes writes, if there is one.
pub(crate) fn primary() -> Option<String> {
    let name = nodes(&["primary"]);
    (!name.is_empty()).then_some(name)
}

/// Returns a node that does not take writes.
pub(crate) fn standby(primary: &str, choice: usize) -> &'static str {
    let others: Vec<&str> = NODES.into_iter().filter(|node| *node != primary).collect();
    others[choice % others.len()]
}

/// Returns which node does not follow the primary.
pub(crate) fn straggler() -> Option<&'static str> {
    let primary = primary()?;
    let following =
        sql("select application_name from pg_stat_replication where state = 'streaming'")?;
    let mut nodes = NODES.into_iter();
    nodes.find(|node| *node != primary && !following.lines().any(|name| name == *node))
}

/// A daemon on a machine of its own.
pub(crate) struct Daemon {
    machine: &'static str,
    address: &'static str,
    child: Child,
    log: PathBuf,
}

impl Daemon {
    pub(crate) fn all() -> Vec<Self> {
        MACHINES
            .into_iter()
            .map(|(machine, address)| Self::start(machine, address))
            .collect()
    }

    pub(crate) fn urls() -> Vec<String> {
        MACHINES
            .iter()
            .map(|(_, address)| format!("http://{address}:7000"))
            .collect()
    }

    fn start(machine: &'static str, address: &'static str) -> Self {
        let log = Path::new(&told("BAYTRIM_TEST_NODES")).join(format!("{machine}.log"));
        let child = Self::run(machine, address, &log);
        Self {
            machine,
            address,
            child,
            log,
        }
    }

    fn run(machine: &str, address: &str, log: &Path) -> Child {
        let log = std::fs::File::options()
            .create(true)
            .append(true)
            .open(log)
            .unwrap();
        let mut command = Command::new("ip");
        command.args([
            "netns",
            "exec",
            machine,
            env!("CARGO_BIN_EXE_baytrimd"),
            "serve",
        ]);
        command.args([
            "--insecure-lan",
            "--listen",
            &format!("{address}:7000"),
            "--store",
            URL,
        ]);
        command
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log);
        command.spawn().unwrap()
    }

    pub(crate) fn kill_and_start(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        self.child = Self::run(self.machine, self.address, &self.log);
    }

    /// Starts it again if it gave up by itself, as it does where no database takes writes at its start.
    pub(crate) fn keep_up(&mut self) -> bool {
        let is_gone = self.child.try_wait().unwrap().is_some();
        if is_gone {
            self.child = Self::run(self.machine, self.address, &self.log);
        }
        is_gone
    }

    pub(crate) fn signal(&self, name: &str) {
        let (signal, id) = (format!("-{name}"), self.child.id().to_string());
        let sent = Command::new("kill").args([signal, id]).status();
        assert!(sent.unwrap().success());
    }

    /// Cuts the line between this daemon and a node.
    pub(crate) fn cut_from(&self, node: &str) {
        nodes(&["cut", self.machine, node]);
    }

    pub(crate) fn mend_with(&self, node: &str) {
        nodes(&["mend", self.machine, node]);
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
