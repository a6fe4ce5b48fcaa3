//! What each command asks the server, and what it shows.

use baytrim::Exit;
use baytrim_api::v1::NodeRef;
use baytrim_api::v1::export_table_request::{Format, Quantity, Rows};

use crate::answers;
use crate::shop::Shop;
use crate::terminal::baytrim;

/// A command of the documented set would fail or show nothing.
#[tokio::test]
async fn every_reading_command_shows_something() {
    let (_shop, url) = Shop::open().await;
    for (words, expected) in [
        ("job list", "quoll-3"),
        ("job show quoll-1", "689 cc"),
        ("job example", "[engine]"),
        ("pull list quoll-1", "plate_rate"),
        ("pull show quoll-1/p2", "2.08 ± 0.31 l"),
        ("propose quoll-1", "baytrim approve quoll-1/c1 --reason"),
        ("propose quoll-1 --dry-run", "Not recorded"),
        ("plan quoll-1 --use wide-open", "up and down at 40 %"),
        ("trace quoll-1/c1 3000:20", "3000 rpm at 20 % plate"),
        (
            "proposal show jobs/quoll-1/proposals/c1",
            "Proposal quoll-1/c1 (open)",
        ),
        ("proposal list quoll-1", "quoll-1/c1"),
        ("table show quoll-1", "Fuel change from the base table"),
        ("table show quoll-1 --revision r0", "quoll-1/r0"),
        ("table list quoll-1", "approval of c1"),
        (
            "channels suggest Cargo.toml",
            "plate_angle: \"Klappe\" in percent, 55 % sure",
        ),
        ("channels show east", "column = \"AFR wide\""),
        ("channels show east --map m1", "Channel map m1 of bay east"),
        ("channels history east", "new lambda meter"),
        ("channels history west", "baytrim channels suggest LOG"),
        ("channels list", "east  m2"),
        ("bay show east", "it reads 1.8 ± 0.5 % leaner"),
        ("ledger log quoll-1", "pull p2 from bay east"),
        ("completions bash", "_baytrim"),
        ("--help", "baytrim pull submit quoll-1"),
        ("pull submit --help", "--channels"),
    ] {
        let words: Vec<&str> = words.split(' ').collect();
        let outcome = baytrim(&url, &words).await;
        assert_eq!(outcome.exit, Exit::Done, "{words:?}: {}", outcome.err);
        assert!(outcome.out.contains(expected), "{words:?}: {}", outcome.out);
        assert_eq!(outcome.err, "", "{words:?}");
    }
}

/// A job would be opened without its tables, or under nobody's name.
#[tokio::test]
async fn job_open_sends_the_file_and_what_it_names() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("quoll.toml");
    std::fs::write(&file, "name = \"Quoll\"\n[table]\nfile = \"base.csv\"\n").unwrap();
    std::fs::write(folder.path().join("base.csv"), "1,2\n").unwrap();
    let path = file.to_str().unwrap();
    let outcome = baytrim(&url, &["job", "open", path, "--as", "robin"]).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    let checked = baytrim(&url, &["job", "open", path, "--check"]).await;
    assert!(checked.out.starts_with("Only checked"), "{}", checked.out);
    shop.with(|seen| {
        assert_eq!(seen.actors, ["robin"]);
        assert_eq!(seen.jobs[0].attachments[0].content, b"1,2\n");
        assert_eq!(seen.jobs[0].request_id.len(), 36);
        assert!(!seen.jobs[0].validate_only && seen.jobs[1].validate_only);
    });
}

/// The printed example would be another one than the server's own tests hold to be right.
#[tokio::test]
async fn job_example_is_the_documented_one() {
    let outcome = baytrim("http://127.0.0.1:1", &["job", "example"]).await;
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../baytrim-jobs/src/job_file/example.toml"
    );
    let documented = std::fs::read_to_string(path).unwrap();
    assert_eq!(outcome.out, documented);
}

/// A log would arrive changed, in too large pieces, or twice under two names.
#[tokio::test]
async fn pull_submit_sends_each_log_whole_and_under_one_name() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let log: Vec<u8> = (0..700_000_u32).map(|index| (index % 251) as u8).collect();
    let paths: Vec<String> = ["a.csv", "b.csv"]
        .iter()
        .map(|name| folder.path().join(name).to_str().unwrap().to_owned())
        .collect();
    for path in &paths {
        std::fs::write(path, &log).unwrap();
    }
    let map = folder.path().join("map.toml");
    std::fs::write(&map, "evidence = \"lambda\"").unwrap();
    let words = [
        "pull",
        "submit",
        "quoll-1",
        &paths[0],
        &paths[1],
        "--bay",
        "east",
        "--channels",
        map.to_str().unwrap(),
        "--revision",
        "r0",
    ];
    shop.with(|seen| seen.failing_calls = 2);
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    assert!(outcome.out.contains("Pull quoll-1/p"), "{}", outcome.out);
    assert!(
        outcome.err.contains("baytrim propose quoll-1"),
        "{}",
        outcome.err
    );
    shop.with(|seen| {
        let ids: Vec<&str> = seen
            .uploads
            .iter()
            .map(|upload| upload.open.request_id.as_str())
            .collect();
        let names: Vec<&str> = seen
            .uploads
            .iter()
            .map(|upload| upload.open.source_name.as_str())
            .collect();
        assert_eq!(names, ["a.csv", "b.csv"]);
        assert_ne!(ids[0], ids[1]);
        for upload in &seen.uploads {
            assert!(upload.is_whole && upload.bytes == log);
            assert!(upload.chunk_bytes_max <= 256 * 1024);
            assert_eq!(upload.open.channel_map, "evidence = \"lambda\"");
            assert_eq!(
                (upload.open.bay.as_str(), upload.open.revision.as_str()),
                ("east", "r0")
            );
        }
    });
}

/// A retried upload would be recorded as a second pull.
#[tokio::test]
async fn a_retried_upload_keeps_its_name() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.csv");
    std::fs::write(&path, "t,lambda\n0,1\n").unwrap();
    let words = [
        "pull",
        "submit",
        "quoll-1",
        path.to_str().unwrap(),
        "--bay",
        "east",
        "--json",
    ];
    shop.with(|seen| seen.failing_calls = 2);
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    shop.with(|seen| {
        assert_eq!(seen.uploads.len(), 3);
        let first = &seen.uploads[0].open.request_id;
        assert!(
            seen.uploads
                .iter()
                .all(|upload| &upload.open.request_id == first)
        );
        assert!(
            seen.uploads
                .iter()
                .all(|upload| upload.bytes == b"t,lambda\n0,1\n")
        );
    });
}

/// A bay would get another map than the file holds, or one that was only to be checked.
#[tokio::test]
async fn channels_set_sends_the_file_as_it_is() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("map.toml");
    std::fs::write(&file, "# by hand\n[time]\nrate_hz = 50\n").unwrap();
    let path = file.to_str().unwrap();
    let words = [
        "channels",
        "set",
        "bays/east",
        path,
        "--reason",
        "new meter",
    ];
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    assert!(
        outcome.err.contains("first channel map of bay east"),
        "{}",
        outcome.err
    );
    let checked = baytrim(&url, &["channels", "set", "east", path, "--check"]).await;
    assert!(checked.out.contains("not recorded"), "{}", checked.out);
    shop.with(|seen| {
        let first = &seen.maps[0];
        assert_eq!(first.text, "# by hand\n[time]\nrate_hz = 50\n");
        assert_eq!(
            (first.parent.as_str(), first.reason.as_str()),
            ("bays/east", "new meter")
        );
        assert_eq!(first.request_id.len(), 36);
        assert!(!first.validate_only && seen.maps[1].validate_only);
    });
    let copy = folder.path().join("copy.toml");
    let words = [
        "channels",
        "show",
        "east",
        "--output",
        copy.to_str().unwrap(),
    ];
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    let text = std::fs::read_to_string(&copy).unwrap();
    assert_eq!(text, answers::bays::channel_map().text);
    let again = baytrim(&url, &words).await;
    assert_eq!(
        again.exit,
        Exit::Failed,
        "a file that is there is not written over"
    );
}

/// A verdict would be given on another state of the proposal, or on other nodes.
#[tokio::test]
async fn verdicts_quote_the_etag_and_the_nodes() {
    let (shop, url) = Shop::open().await;
    let words = [
        "approve",
        "quoll-1/c1",
        "--only",
        "3000:20,4500:2.5",
        "--reason",
        " looks right ",
    ];
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    assert!(outcome.out.contains("2 nodes became r1"), "{}", outcome.out);
    let outcome = baytrim(&url, &["reject", "quoll-1/c1", "--reason", "cold"]).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    let outcome = baytrim(
        &url,
        &["revert", "quoll-1", "--to", "r0", "--reason", "hunts"],
    )
    .await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    shop.with(|seen| {
        let approval = &seen.approvals[0];
        let nodes = [(3000.0, 20.0), (4500.0, 2.5)].map(|(rpm, plate_percent)| NodeRef {
            rpm,
            plate_percent,
            after: None,
            grip_percent: None,
        });
        assert_eq!(approval.nodes, nodes);
        assert_eq!(
            (approval.etag.as_str(), approval.reason.as_str()),
            (answers::ETAG, "looks right")
        );
        assert_eq!(seen.rejections[0].etag, answers::ETAG);
        assert_eq!(seen.reverts[0].revision, "r0");
    });
}

/// An export would be of other numbers than asked for, or changed on its way into the file.
#[tokio::test]
async fn export_writes_the_bytes_that_the_ledger_knows() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("out.csv");
    let plain = ["table", "export", "quoll-1", "--format", "csv"];
    let outcome = baytrim(&url, &plain).await;
    assert_eq!(outcome.out, "plate_percent/rpm,1500\n0,1.5\n");
    assert!(outcome.err.contains("sha256 cdcd"), "{}", outcome.err);
    let words = [
        "table",
        "export",
        "quoll-1",
        "--format",
        "json",
        "--as",
        "percent",
        "--rows",
        "rpm",
        "--revision",
        "r1",
        "--output",
        file.to_str().unwrap(),
    ];
    let outcome = baytrim(&url, &words).await;
    assert_eq!((outcome.exit, outcome.out.as_str()), (Exit::Done, ""));
    assert_eq!(
        std::fs::read(&file).unwrap(),
        b"plate_percent/rpm,1500\n0,1.5\n"
    );
    shop.with(|seen| {
        assert_eq!(seen.exports[0].name, "jobs/quoll-1/revisions/-");
        let asked = &seen.exports[1];
        assert_eq!(asked.name, "jobs/quoll-1/revisions/r1");
        let kinds = (asked.format(), asked.quantity(), asked.rows());
        assert_eq!(kinds, (Format::Json, Quantity::Percent, Rows::Rpm));
    });
}

/// A pull left out on purpose would be taken in all the same.
#[tokio::test]
async fn propose_says_what_to_leave_out() {
    let (shop, url) = Shop::open().await;
    let outcome = baytrim(&url, &["propose", "quoll-1", "--without", "p1,quoll-1/p3"]).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    shop.with(|seen| assert_eq!(seen.proposals[0].excluded_pulls, ["p1", "p3"]));
}

/// A plan would be weighed by another use than the file says.
#[tokio::test]
async fn a_use_map_goes_to_the_server_in_node_order() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("use.csv");
    let axes = answers::axes();
    let rpm: Vec<String> = axes.rpm.iter().map(ToString::to_string).collect();
    let mut lines = vec![format!("plate_percent/rpm,{}", rpm.join(","))];
    for (row, plate) in axes.plate_percent.iter().enumerate() {
        lines.push(format!("{plate}{}", format!(",{row}").repeat(rpm.len())));
    }
    std::fs::write(&path, lines.join("\n")).unwrap();
    let file = path.to_str().unwrap();
    let outcome = baytrim(&url, &["plan", "quoll-1", "--use-map", file]).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    let (values, use_map) = shop.with(|seen| {
        let plan = seen.plans.last().unwrap();
        (plan.use_values.clone(), plan.use_map)
    });
    assert_eq!((values.len(), use_map), (96, 0));
    assert_eq!((values[0], values[12], values[95]), (0.0, 1.0, 7.0));
    std::fs::write(&path, "1,2").unwrap();
    let outcome = baytrim(&url, &["plan", "quoll-1", "--use-map", file]).await;
    assert_eq!(outcome.exit, Exit::Failed);
    assert!(outcome.err.contains("line 1 must begin"), "{}", outcome.err);
}
