//! The program as a child that serves; shared by tests.

use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Output, Stdio};

/// The program, serving; killed when dropped.
pub(crate) struct Running {
    child: Child,
    pub(crate) url: String,
}

impl Running {
    /// Starts it at a free port of the loopback, with `place` beside that, and waits until it says where it listens.
    pub(crate) fn start(place: &[&str], set: &[(&str, &str)]) -> Self {
        let mut child = command(&["serve", "--listen", "127.0.0.1:0"])
            .args(place)
            .envs(set.iter().copied())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        let mut output = BufReader::new(child.stdout.take().unwrap());
        output.read_line(&mut line).unwrap();
        let url = line.trim().strip_prefix("listening on ");
        let url = url.expect(&line).to_owned();
        Self { child, url }
    }

    /// Sends it a signal and waits for its end; returns its exit code, none after a kill.
    pub(crate) fn signal(&mut self, name: &str) -> Option<i32> {
        let id = self.child.id().to_string();
        let sent = Command::new("kill").args(["-s", name, &id]).status();
        assert!(sent.unwrap().success());
        self.child.wait().unwrap().code()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Returns the program as a command that knows nothing of this one's environment and logs nowhere.
pub(crate) fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_baytrimd"));
    command.args(arguments).env_clear();
    command.stdin(Stdio::null()).stderr(Stdio::null());
    command
}

/// Runs the program to its end; what it wrote comes with it.
pub(crate) fn run(arguments: &[&str]) -> Output {
    let mut command = command(arguments);
    command.stderr(Stdio::piped()).output().unwrap()
}
