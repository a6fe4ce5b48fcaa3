//! The main job, from log files to an approved and exported table, by commands alone.

use baytrim::Exit;
use serde_json::Value;

use crate::house::{House, file};

const JOB: &str = "plover-690";

async fn with_three_pulls(house: &House) {
    let job = house
        .json(&["job", "open", &file("demo-data/job.toml")])
        .await;
    assert_eq!(job["id"], JOB);
    let logs = ["pull-1-holds", "pull-2-sweeps", "pull-3-ride"];
    let logs = logs.map(|name| file(&format!("demo-data/{name}.csv")));
    let mut words = vec!["pull", "submit", JOB, "--bay", "east"];
    words.extend(logs.iter().map(String::as_str));
    house.json(&words).await;
}

fn nodes(proposal: &Value) -> &Vec<Value> {
    proposal["nodes"].as_array().expect("a list of nodes")
}

fn number(node: &Value, key: &str) -> f64 {
    node[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} is a number in {node}"))
}

/// If this fails, a script can't get from log files to an approved table in four commands.
#[tokio::test]
async fn four_commands_lead_from_logs_to_a_table() {
    let data = tempfile::tempdir().expect("a folder");
    let house = House::open(data.path()).await;
    with_three_pulls(&house).await;
    let proposal = house.json(&["propose", JOB]).await;
    let id = proposal["id"].as_str().expect("named").to_owned();
    let approved = house
        .json(&["approve", &id, "--reason", "as seen on the dyno"])
        .await;
    assert_eq!(approved["revision"], "r1", "{approved}");
    let again = house.command(&["approve", &id, "--reason", "again"]).await;
    assert_eq!(again.exit, Exit::Refused, "{}", again.err);
    let verified = house.json(&["ledger", "verify"]).await;
    assert_eq!(verified["intact"], true);
    house.close().await;
}

/// If this fails, scripts that read proposals meet other keys, another order or impossible numbers.
#[tokio::test]
async fn proposals_carry_the_documented_keys() {
    let data = tempfile::tempdir().expect("a folder");
    let house = House::open(data.path()).await;
    with_three_pulls(&house).await;
    let made = house.json(&["propose", JOB]).await;
    let id = made["id"].as_str().expect("named").to_owned();
    let shown = house.json(&["proposal", "show", &id]).await;
    assert_eq!(made["nodes"], shown["nodes"]);
    let (rpm, plate) = (&shown["rpm"], &shown["plate_percent"]);
    let (rpm, plate) = (
        rpm.as_array().expect("axis"),
        plate.as_array().expect("axis"),
    );
    assert_eq!(nodes(&shown).len(), rpm.len() * plate.len());
    for (index, node) in nodes(&shown).iter().enumerate() {
        assert_eq!(node["rpm"], rpm[index % rpm.len()]);
        assert_eq!(node["plate_percent"], plate[index / rpm.len()]);
        for key in [
            "before",
            "after",
            "correction_percent",
            "standard_error_percent",
            "proposed_percent",
            "dwell_s",
            "visits",
            "measured_fraction",
            "predicted_lambda",
        ] {
            assert!(number(node, key).is_finite());
        }
        assert!((0.0..=1.0).contains(&number(node, "measured_fraction")));
        assert!(
            number(node, "proposed_percent").abs() <= 10.0 + 1e-6,
            "the step limit of the job"
        );
        assert!(node["limited_by"].is_array() && node["status"].is_string());
        if node["status"] == "unvisited" {
            assert_eq!(node["before"], node["after"]);
        }
    }
    house.close().await;
}

/// If this fails, the demo's proposal is no better than a guess: its corrections miss the truth that
/// the demo's engine was made with.
#[tokio::test]
async fn corrections_come_close_to_the_simulated_truth() {
    let data = tempfile::tempdir().expect("a folder");
    let house = House::open(data.path()).await;
    with_three_pulls(&house).await;
    let proposal = house.json(&["propose", JOB]).await;
    let truth = std::fs::read_to_string(file("demo-data/truth_percent.csv")).expect("the answer");
    let rows = truth.lines().filter(|line| !line.starts_with('#')).skip(1);
    let truth: Vec<f64> = rows
        .flat_map(|row| row.split(',').skip(1))
        .map(|cell| cell.parse().expect("a number"))
        .collect();
    assert_eq!(truth.len(), nodes(&proposal).len());
    let (mut squares, mut count, mut inside) = (0.0, 0.0, 0.0);
    for (node, truth) in nodes(&proposal).iter().zip(truth) {
        if number(node, "dwell_s") > 1.0 {
            let miss = number(node, "correction_percent") - truth;
            squares += miss * miss;
            count += 1.0;
            if miss.abs() < 1.96 * number(node, "total_standard_error_percent") {
                inside += 1.0;
            }
        }
    }
    let rms = f64::sqrt(squares / count);
    println!(
        "demo: {count} nodes with over 1 s, rms miss {rms:.2} %, {:.0} % inside their intervals",
        inside / count * 100.0
    );
    assert!(count > 80.0, "only {count} nodes have over 1 s");
    // The table is off by 8 % rms; the bay's sensor reads 0.4 % off, which no pull can show.
    assert!(rms < 1.5, "rms miss {rms} %");
    assert!(
        inside / count > 0.85,
        "{inside} of {count} inside their 95 % intervals"
    );
}

/// If this fails, closing and opening the shop loses or changes something of a job.
#[tokio::test]
async fn a_reopened_shop_is_the_same_shop() {
    let data = tempfile::tempdir().expect("a folder");
    let house = House::open(data.path()).await;
    with_three_pulls(&house).await;
    let made = house.json(&["propose", JOB]).await;
    let log = house.json(&["ledger", "log", JOB]).await;
    house.close().await;
    let house = House::open(data.path()).await;
    let id = made["id"].as_str().expect("named").to_owned();
    assert_eq!(
        house.json(&["proposal", "show", &id]).await["nodes"],
        made["nodes"]
    );
    assert_eq!(house.json(&["ledger", "log", JOB]).await, log);
    let second = house.json(&["propose", JOB]).await;
    assert_eq!(
        second["nodes"], made["nodes"],
        "the same pulls give the same numbers, to the bit"
    );
    house.close().await;
}

/// If this fails, a proposal says how far the base table is off, not the table in force.
#[tokio::test]
async fn how_far_off_speaks_of_the_table_in_force() {
    let data = tempfile::tempdir().expect("a folder");
    let house = House::open(data.path()).await;
    with_three_pulls(&house).await;
    let first = house.json(&["propose", JOB]).await;
    let id = first["id"].as_str().expect("named").to_owned();
    house.json(&["approve", &id, "--reason", "good"]).await;
    let second = house.json(&["propose", JOB]).await;
    let off = |proposal: &Value| number(&proposal["fit"], "off_target_percent");
    assert!(off(&first) > 6.0, "{}", off(&first));
    assert!(
        off(&second) < 0.5 * off(&first),
        "{} after {}",
        off(&second),
        off(&first)
    );
    house.close().await;
}

/// If this fails, a revert does not bring back what was exported before.
#[tokio::test]
async fn a_revert_brings_the_old_table_back() {
    let data = tempfile::tempdir().expect("a folder");
    let house = House::open(data.path()).await;
    with_three_pulls(&house).await;
    let export = ["table", "export", JOB, "--format", "csv", "--as", "value"];
    let table = async || {
        let said = house.command(&export).await;
        assert_eq!(said.exit, Exit::Done, "{}", said.err);
        let lines = said.out.lines().filter(|line| !line.starts_with('#'));
        lines.map(ToOwned::to_owned).collect::<Vec<String>>()
    };
    let before = table().await;
    let proposal = house.json(&["propose", JOB]).await;
    let id = proposal["id"].as_str().expect("named").to_owned();
    house.json(&["approve", &id, "--reason", "good"]).await;
    assert_ne!(table().await, before);
    house
        .json(&["revert", JOB, "--to", "r0", "--reason", "customer's wish"])
        .await;
    assert_eq!(table().await, before);
    house.close().await;
}

/// If this fails, a tuner has to write a channel map by hand that the log itself tells.
#[tokio::test]
async fn a_suggested_channel_map_reads_the_log() {
    let data = tempfile::tempdir().expect("a folder");
    let house = House::open(data.path()).await;
    house
        .json(&["job", "open", &file("demo-data/job.toml")])
        .await;
    let known = std::fs::read_to_string(file("demo-data/pull-1-holds.csv")).expect("the log");
    let (_, rows) = known.split_once('\n').expect("a header");
    let header = "Time [s],Engine speed [rpm],Throttle plate [%],Lambda,Coolant [degC],Fuel cut,Shift cut,Sensor ready";
    assert_eq!(
        header.split(',').count(),
        rows.lines().next().expect("rows").split(',').count()
    );
    let log = data.path().join("strange.csv").display().to_string();
    std::fs::write(&log, format!("{header}\n{rows}")).expect("written");
    let map = data.path().join("map.toml").display().to_string();
    let suggestion = house
        .json(&["channels", "suggest", &log, "--output", &map])
        .await;
    assert_eq!(suggestion["complete"], true, "{suggestion}");
    let words = [
        "pull",
        "submit",
        JOB,
        &log,
        "--bay",
        "east",
        "--channels",
        &map,
        "--check",
    ];
    let read = house.json(&words).await;
    let plain = file("demo-data/pull-1-holds.csv");
    let words = ["pull", "submit", JOB, &plain, "--bay", "east", "--check"];
    let expected = house.json(&words).await;
    assert_eq!(
        read["pulls"][0]["accepted_s"],
        expected["pulls"][0]["accepted_s"]
    );
    let again = house
        .command(&["channels", "suggest", &log, "--output", &map])
        .await;
    assert_eq!(
        again.exit,
        Exit::Failed,
        "a map that is there is not written over"
    );
    house.close().await;
}
