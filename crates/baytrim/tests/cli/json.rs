//! The keys of `--json`: what scripts rely on.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::answers;
use crate::shop::Shop;
use crate::terminal::baytrim;

fn keys(value: &Value) -> BTreeSet<&str> {
    value
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect()
}

fn set(words: &str) -> BTreeSet<&str> {
    words.split_whitespace().collect()
}

async fn object(words: &str) -> Value {
    let (_shop, url) = Shop::open().await;
    let words: Vec<&str> = words.split(' ').collect();
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.err, "", "{words:?}");
    outcome.json()
}

/// A script that reads a proposal would find a key gone or a number rounded.
#[tokio::test]
async fn a_proposal_has_its_documented_keys() {
    for words in ["propose quoll-1 --json", "proposal show quoll-1/c1 --json"] {
        let proposal = object(words).await;
        let expected = "id job state base_revision pulls etag create_time expire_time creator content change_count \
                        rpm plate_percent nodes grip_mode grip_rows fit done start cautions verdict comments";
        assert_eq!(keys(&proposal), set(expected));
        assert_eq!(proposal["id"], "quoll-1/c1");
        assert_eq!(proposal["job"], "quoll-1");
        assert_eq!(proposal["state"], "open");
        assert_eq!(proposal["verdict"], Value::Null);
        let node_keys = "rpm plate_percent before after correction_percent standard_error_percent \
                         total_standard_error_percent proposed_percent dwell_s visits \
                         measured_fraction lambda_before target_lambda predicted_lambda \
                         predicted_lambda_low predicted_lambda_high lean_risk limited_by status";
        let nodes = proposal["nodes"].as_array().unwrap();
        let sent = answers::proposal().nodes;
        assert_eq!(nodes.len(), sent.len());
        for (node, sent) in nodes.iter().zip(&sent) {
            assert_eq!(keys(node), set(node_keys));
            let read = node["correction_percent"].as_f64().unwrap();
            assert_eq!(read.to_bits(), sent.correction_percent.to_bits());
            assert_eq!(node["rpm"].as_f64(), Some(sent.rpm));
        }
    }
}

/// A dry run would look recorded to a script.
#[tokio::test]
async fn a_dry_run_has_no_id() {
    let proposal = object("propose quoll-1 --dry-run --json").await;
    assert_eq!(proposal["job"], "quoll-1");
    assert_eq!(
        (&proposal["id"], &proposal["state"]),
        (&Value::Null, &Value::Null)
    );
}

/// Scripts that read the other answers would find a key gone.
#[tokio::test]
async fn other_answers_have_their_documented_keys() {
    for (words, expected) in [
        ("job list --json", "jobs"),
        (
            "job show quoll-1 --json",
            "id title notes engine fuel rpm plate_percent content dead_time_ms resolution \
             target_lambda limits bays create_time creator head_revision pull_count \
             open_proposals etag standing stage vehicle",
        ),
        ("pull list quoll-1 --json", "job pulls"),
        (
            "pull show quoll-1/p2 --json",
            "id job bay revision stage mode grip_revision stay_count source_name log_sha256 create_time creator \
             channel_map_source channel_map sample_count \
             duration_s accepted_s refused strip delay warnings film sensors realised power air behaviour recording coverage",
        ),
        ("proposal list quoll-1 --json", "job proposals"),
        (
            "plan quoll-1 --use street --seconds 60 --json",
            "job revision pulls done fuel_steps steps standard_error_percent planned_standard_error_percent \
             total_s unreachable_node_count cautions",
        ),
        (
            "trace quoll-1 3000:20 --json",
            "id rpm plate_percent revision correction_percent standard_error_percent \
             total_standard_error_percent target_lambda measured_fraction dwell_s visits errors \
             pulls cautions",
        ),
        (
            "approve quoll-1/c1 --reason x --json",
            "id job state verdict revision",
        ),
        (
            "reject quoll-1/c1 --reason x --json",
            "id job state verdict revision",
        ),
        (
            "revert quoll-1 --to r0 --reason x --json",
            "job revision in_force origin create_time creator reason content rpm plate_percent \
             values total_percent grip_mode grip_percent",
        ),
        (
            "comment quoll-1/c1 --node 3000:20 knocks --json",
            "id job comment",
        ),
        (
            "table diff quoll-1 --from r0 --json",
            "job from to content rpm plate_percent before after change_percent",
        ),
        ("table list quoll-1 --json", "job revisions"),
        (
            "table export quoll-1 --format csv --json",
            "job revision file_name media_type sha256 output text",
        ),
        (
            "channels suggest Cargo.toml --json",
            "channel_map complete channels missing notes refusal row_count unused_columns output",
        ),
        (
            "channels show east --json",
            "bay map in_force create_time creator reason channels text",
        ),
        ("channels history east --json", "bay maps"),
        ("channels list --json", "bays"),
        (
            "bay show east --json",
            "bay map leaner_percent leaner_error_percent comparisons delays sensor_checks sensor_due",
        ),
        ("shop --json", "bays older_count truncated"),
        ("stage list quoll-1 --json", "job stages"),
        (
            "stage begin quoll-1 tuned --json",
            "stage kind title notes create_time creator pulls",
        ),
        (
            "stage compare quoll-1 s1 s2 --json",
            "job from to shared_node_count tolerance_percent off_target_percent within_percent \
             pull_repeatability_percent node_repeatability_percent repeat_count power nodes remarks",
        ),
        ("ledger log quoll-1 --json", "job records"),
        (
            "ledger verify --json",
            "intact stream_count record_count blob_count checkpoint_count first_fault ledger_head",
        ),
    ] {
        let value = object(words).await;
        assert_eq!(keys(&value), set(expected), "{words}");
    }
}

/// A list longer than one page would be cut off.
#[tokio::test]
async fn lists_take_all_pages() {
    let value = object("job list --json").await;
    let ids: Vec<&str> = value["jobs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|job| job["id"].as_str().unwrap())
        .collect();
    assert_eq!(ids, ["quoll-1", "quoll-2", "quoll-3"]);
}

/// Adds every key of `value`, at any depth, to `found`; the server's own metadata aside.
fn all_keys(value: &Value, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                found.insert(key.clone());
                all_keys(inner, found);
            }
        }
        Value::Array(entries) => entries.iter().for_each(|entry| all_keys(entry, found)),
        _ => {}
    }
}

/// A script's author would look for a key in the documentation and not find it.
#[tokio::test]
async fn every_key_is_documented() {
    let page = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/cli.md");
    let page = std::fs::read_to_string(page).unwrap();
    let mut found = BTreeSet::new();
    for words in [
        "job list --json",
        "job show quoll-1 --json",
        "pull list quoll-1 --json",
        "pull show quoll-1/p2 --json",
        "propose quoll-1 --json",
        "proposal list quoll-1 --json",
        "plan quoll-1 --json",
        "trace quoll-1 3000:20 --json",
        "approve quoll-1/c1 --reason x --json",
        "revert quoll-1 --to r0 --reason x --json",
        "table show quoll-1 --json",
        "table list quoll-1 --json",
        "table export quoll-1 --format csv --json",
        "shop --json",
        "stage list quoll-1 --json",
        "library list --json",
        "library nearest quoll-1 --json",
        "library start quoll-1 --json",
        "stage compare quoll-1 s1 s2 --json",
        "bay show east --json",
        "channels suggest Cargo.toml --json",
        "channels show east --json",
        "channels history east --json",
        "channels list --json",
        "ledger log quoll-1 --json",
        "ledger verify --json",
    ] {
        let (_shop, url) = Shop::open().await;
        let words: Vec<&str> = words.split(' ').collect();
        all_keys(&baytrim(&url, &words).await.json(), &mut found);
    }
    assert!(found.len() > 100, "{}", found.len());
    for key in found {
        assert!(
            page.contains(&format!("`{key}`")),
            "docs/cli.md lacks {key}"
        );
    }
}

/// A health check or a dashboard would find a key gone.
#[tokio::test]
async fn a_status_has_its_documented_keys() {
    let status = object("status --json").await;
    let expected = "server version start_time uptime_s job_count live_pull_count live_pull_count_max \
                    compute_running_count compute_running_count_max compute_waiting_count \
                    sample_count failed_write_count";
    assert_eq!(keys(&status), set(expected));
    assert_eq!(status["uptime_s"], 183_600);
}

/// A script that audits a ledger would find a key gone.
#[tokio::test]
async fn a_reproduction_has_its_documented_keys() {
    let found = object("proposal reproduce quoll-1/c1 --json").await;
    let expected = "id identical recorded_estimator estimator pulls node_count other_value_count \
                    differing_node_count correction_difference_percent_max differing_nodes";
    assert_eq!(keys(&found), set(expected));
    assert_eq!(found["id"], "quoll-1/c1");
}

/// A script that reads power would find a key gone, or take an uncorrected figure for a corrected one.
#[tokio::test]
async fn power_has_its_documented_keys() {
    let power = object("power quoll-1 p1 p4 --standard din-70020 --json").await;
    let expected = "job standard standard_title corrected common_rpm pulls change cautions";
    assert_eq!(keys(&power), set(expected));
    let pull = &power["pulls"][0];
    let expected = "id bay revision stage create_time power air difference_percent doubts";
    assert_eq!(keys(pull), set(expected));
    let expected = "source band_rpm window_s bandwidth_hz part_load_count correction remarks peak_power peak_torque \
                    points";
    assert_eq!(keys(&pull["power"]), set(expected));
    let expected =
        "rpm power_kw power_error_kw torque_nm corrected_power_kw corrected_torque_nm row_count";
    assert_eq!(keys(&pull["power"]["points"][0]), set(expected));
    let uncorrected = &power["pulls"][2]["power"]["points"][0];
    assert_eq!(uncorrected["corrected_power_kw"], Value::Null);
    let (shop, url) = Shop::open().await;
    let words = [
        "power",
        "quoll-1",
        "p1",
        "quoll-1/p4",
        "--standard",
        "sae-j1349",
    ];
    baytrim(&url, &words).await;
    shop.with(|seen| {
        assert_eq!(seen.powers[0].pulls, ["p1", "p4"]);
        let standard = seen.powers[0].standard();
        assert_eq!(standard, baytrim_api::v1::PowerStandard::SaeJ1349);
    });
}

/// Air that was typed would be lost on the way, and power come out uncorrected.
#[tokio::test]
async fn conditions_go_with_the_log() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pull.csv");
    std::fs::write(&path, "offset_s,rpm\n0,1000\n").unwrap();
    let path = path.to_str().unwrap();
    let words = [
        "pull",
        "submit",
        "quoll-1",
        path,
        "--bay",
        "east",
        "--pressure-kpa",
        "98.6",
        "--temperature-c",
        "-4",
    ];
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, baytrim::Exit::Done, "{}", outcome.err);
    shop.with(|seen| {
        let given = seen.uploads[0].open.conditions.unwrap();
        assert_eq!(
            (given.pressure_kpa, given.temperature_c),
            (Some(98.6), Some(-4.0))
        );
        assert_eq!(given.humidity_percent, None);
    });
}
