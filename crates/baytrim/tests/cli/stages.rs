//! Stages, sensor checks and the end of a job, as typed.

use baytrim::Exit;
use baytrim_api::v1::StageKind;

use crate::shop::Shop;
use crate::terminal::baytrim;

/// Words about a stage, a sensor or the end of a job would go on record as others, or not at all.
#[tokio::test]
async fn stages_checks_and_closings_are_sent_as_typed() {
    let (shop, url) = Shop::open().await;
    let begin = [
        "stage",
        "begin",
        "quoll-1",
        "parts-fitted",
        "--notes",
        "open silencer",
    ];
    let assign = [
        "stage",
        "assign",
        "quoll-1/p3",
        "s2",
        "--reason",
        "was on already",
    ];
    let check = ["bay", "check", "east", "--oxygen", "20.8"];
    let close = ["job", "close", "quoll-1", "--reason", "handed over"];
    for words in [&begin[..], &assign, &check, &close] {
        let outcome = baytrim(&url, words).await;
        assert_eq!(
            (outcome.exit, outcome.err.as_str()),
            (Exit::Done, ""),
            "{words:?}"
        );
    }
    shop.with(|seen| {
        let stage = &seen.stages[0];
        assert_eq!(stage.parent, "jobs/quoll-1");
        assert_eq!(stage.kind(), StageKind::PartsFitted);
        assert_eq!(
            (stage.title.as_str(), stage.notes.as_str()),
            ("", "open silencer")
        );
        let moved = &seen.assignments[0];
        assert_eq!(moved.name, "jobs/quoll-1/pulls/p3");
        assert_eq!(
            (moved.stage.as_str(), moved.reason.as_str()),
            ("s2", "was on already")
        );
        assert_eq!(seen.sensor_checks[0].parent, "bays/east");
        assert!((seen.sensor_checks[0].oxygen_percent - 20.8).abs() < 1e-12);
        assert_eq!(seen.closings[0].reason, "handed over");
    });
    let untitled = baytrim(&url, &["stage", "begin", "quoll-1", "other"]).await;
    assert_eq!(untitled.exit, Exit::Usage);
}
