//! Databases of our own on free ports of the loopback, in directories that go with them.
#![allow(dead_code, reason = "two programs use this, each a part of it")]

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

/// Small, on the loopback only, and ready to be followed.
const SETTINGS: &str = "listen_addresses = '127.0.0.1'
unix_socket_directories = ''
max_wal_senders = 8
wal_keep_size = '512MB'
hot_standby = on
shared_buffers = '32MB'
max_connections = 60
";

/// One database server, stopped and deleted when dropped.
pub(crate) struct Node {
    pub(crate) name: String,
    pub(crate) port: u16,
    home: PathBuf,
}

#[expect(
    clippy::disallowed_methods,
    reason = "the script tells the tests where PostgreSQL is"
)]
fn told(name: &str) -> PathBuf {
    let value = std::env::var(name);
    value
        .unwrap_or_else(|_| panic!("{name} is not set; run tests/postgres/run.sh"))
        .into()
}

/// Returns a command of PostgreSQL as the user who may run it: never root.
fn command(program: &str) -> Command {
    let path = told("BAYTRIM_TEST_POSTGRES_BIN").join(program);
    let is_root = Path::new("/proc/self")
        .metadata()
        .is_ok_and(|own| std::os::unix::fs::MetadataExt::uid(&own) == 0);
    let mut command = if is_root {
        let mut command = Command::new("setpriv");
        command
            .args([
                "--reuid",
                "postgres",
                "--regid",
                "postgres",
                "--clear-groups",
            ])
            .arg(path);
        command
    } else {
        Command::new(path)
    };
    command.current_dir("/").stdin(Stdio::null());
    command
}

fn run(command: &mut Command) -> String {
    let output = command.output().expect("runs");
    let text = String::from_utf8_lossy(&output.stdout).trim().to_owned();
    assert!(
        output.status.success(),
        "{command:?}: {text} {}",
        String::from_utf8_lossy(&output.stderr)
    );
    text
}

impl Node {
    /// Makes a database server and starts it; a standby of every name may follow it.
    pub(crate) fn first(name: &str) -> Self {
        let node = Self::place(name);
        run(command("initdb").arg("-D").arg(&node.home).args([
            "-U",
            "postgres",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--data-checksums",
            "--no-sync",
        ]));
        node.configure(SETTINGS);
        node.start();
        node
    }

    /// Makes a standby of `primary` and starts it.
    pub(crate) fn standby(primary: &Self, name: &str) -> Self {
        let node = Self::place(name);
        node.copy(primary);
        node
    }

    fn place(name: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let home = told("BAYTRIM_TEST_POSTGRES_DIR").join(format!("{name}-{port}"));
        Self {
            name: name.to_owned(),
            port,
            home,
        }
    }

    fn configure(&self, lines: &str) {
        let file = self.home.join("postgresql.auto.conf");
        let before = std::fs::read_to_string(&file).expect("reads");
        std::fs::write(&file, before + lines).expect("writes");
    }

    pub(crate) fn start(&self) {
        let options = format!("-p {}", self.port);
        let log = self.home.join("log");
        run(command("pg_ctl")
            .args(["start", "-w", "-t", "60", "-o", &options])
            .arg("-D")
            .arg(&self.home)
            .arg("-l")
            .arg(log)
            .stdout(Stdio::null()));
    }

    /// Makes a server that was killed a standby of `primary`, from nothing.
    pub(crate) fn rebuild(&self, primary: &Self) {
        std::fs::remove_dir_all(&self.home).expect("removes");
        self.copy(primary);
    }

    fn copy(&self, primary: &Self) {
        let from = [
            "-h",
            "127.0.0.1",
            "-U",
            "postgres",
            "-p",
            &primary.port.to_string(),
        ];
        let how = ["-X", "stream", "-c", "fast", "--no-sync", "-R"];
        run(command("pg_basebackup")
            .args(from)
            .args(how)
            .arg("-D")
            .arg(&self.home));
        self.follow(primary);
        self.start();
    }

    /// Returns how far a standby has received the log, in bytes.
    pub(crate) fn received(&self) -> u64 {
        let far = self.sql("select pg_wal_lsn_diff(pg_last_wal_receive_lsn(), '0/0')");
        far.parse().expect("a number")
    }

    /// Names the database to follow.
    fn follow(&self, primary: &Self) {
        self.configure(&format!(
            "primary_conninfo = 'host=127.0.0.1 port={} user=postgres application_name={}'\n",
            primary.port, self.name
        ));
    }

    /// Follows another database from now on.
    pub(crate) fn turn_to(&self, primary: &Self) {
        self.follow(primary);
        self.reload();
    }

    pub(crate) fn reload(&self) {
        run(command("pg_ctl").arg("reload").arg("-D").arg(&self.home));
        // A signal is sent, and heeded a moment later.
        std::thread::sleep(Duration::from_millis(200));
    }

    pub(crate) fn promote(&self) {
        run(command("pg_ctl")
            .args(["promote", "-w"])
            .arg("-D")
            .arg(&self.home));
    }

    /// Kills every process of the server at once, as a power cut would.
    pub(crate) fn kill(&self) {
        let file = std::fs::read_to_string(self.home.join("postmaster.pid")).expect("it runs");
        let id = file.lines().next().expect("an id").to_owned();
        let children = Command::new("ps")
            .args(["-o", "pid=", "--ppid", &id])
            .output()
            .expect("lists");
        let children = String::from_utf8_lossy(&children.stdout).into_owned();
        let all = std::iter::once(id.as_str()).chain(children.split_whitespace());
        let killed = Command::new("kill")
            .arg("-9")
            .args(all)
            .stderr(Stdio::null())
            .status();
        killed.expect("kills");
    }

    pub(crate) fn url(&self) -> String {
        format!("postgres://postgres@127.0.0.1:{}/postgres", self.port)
    }

    /// Runs one statement and returns what it prints.
    pub(crate) fn sql(&self, text: &str) -> String {
        run(command("psql").args([
            "-h",
            "127.0.0.1",
            "-U",
            "postgres",
            "-AtXq",
            "-v",
            "ON_ERROR_STOP=1",
            "-p",
            &self.port.to_string(),
            "-c",
            text,
        ]))
    }
}

impl Drop for Node {
    fn drop(&mut self) {
        let stopped = command("pg_ctl")
            .args(["stop", "-m", "immediate"])
            .arg("-D")
            .arg(&self.home)
            .output();
        drop(stopped);
        let _ = std::fs::remove_dir_all(&self.home);
    }
}
