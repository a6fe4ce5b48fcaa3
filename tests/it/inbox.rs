//! The inbox and followed jobs, through the command line and a daemon that goes away and comes back.

use std::io::Write;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use baytrim::Exit;
use serde_json::Value;

use crate::house::{House, file};

/// Longer than anything here takes on a busy machine; only a failing test waits so long.
const PATIENCE: Duration = Duration::from_secs(120);

/// What a command that goes on has printed so far.
#[derive(Clone, Default)]
struct Printed(Arc<Mutex<Vec<u8>>>);

impl Write for Printed {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().expect("no panic").write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Printed {
    /// Returns the lines once there are `count`.
    async fn lines(&self, count: usize) -> Vec<Value> {
        let there = async {
            loop {
                let bytes = self.0.lock().expect("no panic").clone();
                let text = String::from_utf8(bytes).expect("UTF-8");
                if text.lines().count() >= count {
                    let lines = text.lines().map(serde_json::from_str);
                    return lines.collect::<Result<_, _>>().expect("JSON lines");
                }
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        };
        tokio::time::timeout(PATIENCE, there)
            .await
            .expect("it is printed")
    }
}

async fn open_and_pull(house: &House) {
    house
        .json(&["job", "open", &file("demo-data/job.toml")])
        .await;
    let log = file("demo-data/pull-1-holds.csv");
    house
        .json(&["pull", "submit", "plover-690", &log, "--bay", "east"])
        .await;
}

/// If this fails, a reviewer does not see what waits, or sees it still after the verdict.
#[tokio::test]
async fn the_inbox_lists_what_waits() {
    let data = tempfile::tempdir().expect("a directory");
    let house = House::open(data.path()).await;
    let said = house.command(&["inbox"]).await;
    assert_eq!(
        (said.exit, said.out.as_str()),
        (Exit::Done, "Nothing waits for a verdict.\n")
    );
    open_and_pull(&house).await;
    let proposal = house.json(&["propose", "plover-690"]).await;
    let said = house.command(&["inbox"]).await;
    assert!(
        said.out.starts_with("plover-690/c1         waits "),
        "{}",
        said.out
    );
    assert!(said.out.ends_with("by owner\n"), "{}", said.out);
    let line = house.json(&["inbox"]).await;
    assert_eq!(line["id"], "plover-690/c1");
    assert_eq!(line["state"], "open");
    assert_eq!(line["change_count"], proposal["change_count"]);
    let reject = ["reject", "plover-690/c1", "--reason", "p1 was cold"];
    house.json(&reject).await;
    let said = house.command(&["inbox"]).await;
    assert_eq!(said.out, "Nothing waits for a verdict.\n");
    house.close().await;
}

/// If this fails, who follows a job or the inbox hears nothing more, or hears things twice, once the daemon was
/// started again.
#[tokio::test]
async fn following_goes_on_after_the_daemon_was_away() {
    tokio::task::LocalSet::new()
        .run_until(follow_over_a_break())
        .await;
}

async fn follow_over_a_break() {
    let data = tempfile::tempdir().expect("a directory");
    let house = House::open(data.path()).await;
    open_and_pull(&house).await;
    let (records, inbox) = (Printed::default(), Printed::default());
    let follow = |words: &'static [&'static str], printed: &Printed| {
        let (environment, mut out) = (house.environment(), printed.clone());
        tokio::task::spawn_local(async move {
            let mut err = Vec::new();
            baytrim::run(words, &environment, &mut out, &mut err).await
        })
    };
    let following = [
        follow(
            &["baytrim", "job", "follow", "plover-690", "--json"],
            &records,
        ),
        follow(&["baytrim", "inbox", "--follow", "--json"], &inbox),
    ];
    records.lines(2).await;
    house.json(&["propose", "plover-690"]).await;
    inbox.lines(1).await;
    records.lines(3).await;
    let house = house.again(data.path()).await;
    let reject = ["reject", "plover-690/c1", "--reason", "p1 was cold"];
    house.json(&reject).await;
    house.json(&["propose", "plover-690"]).await;
    let told: Vec<(String, String)> = inbox
        .lines(3)
        .await
        .iter()
        .map(|line| (line["id"].to_string(), line["state"].to_string()))
        .collect();
    let wanted = [("c1", "open"), ("c1", "rejected"), ("c2", "open")];
    let wanted: Vec<_> = wanted
        .iter()
        .map(|(id, state)| (format!("\"plover-690/{id}\""), format!("\"{state}\"")))
        .collect();
    assert_eq!(told, wanted);
    let told: Vec<u64> = records
        .lines(5)
        .await
        .iter()
        .map(|line| line["sequence_number"].as_u64().expect("a number"))
        .collect();
    assert_eq!(told, [0, 1, 2, 3, 4]);
    for task in following {
        task.abort();
    }
    house.close().await;
}
