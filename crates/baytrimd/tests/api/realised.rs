//! Whether a pull under a new revision shows what the revision promised.

use baytrim_api::v1::{GetPullRequest, OpenUpload, Pull};

use crate::harness::{Daemon, inner, log, upload_of};

/// Returns the usual log with every lambda divided by `factor`.
fn richer(factor: f64) -> String {
    let usual = log();
    let lines = usual.lines().map(|line| {
        let Some((front, lambda)) = line.rsplit_once(',') else {
            return line.to_owned();
        };
        match lambda.parse::<f64>() {
            Ok(lambda) => format!("{front},{:.4}", lambda / factor),
            Err(_) => line.to_owned(),
        }
    });
    lines.collect::<Vec<_>>().join("\n") + "\n"
}

/// Returns the codes of a pull's warnings, save what there is to say of the small invented log by itself.
fn codes(pull: &Pull) -> Vec<&str> {
    let codes = pull.warnings.iter().map(|warning| warning.code.as_str());
    codes.filter(|&code| code != "plate_degrees").collect()
}

/// If this fails, a table that was never loaded goes unnoticed, and the next proposal adds its fuel twice.
#[tokio::test]
async fn a_table_that_was_not_loaded_is_noticed() {
    let daemon = Daemon::with_revision().await;
    let check = OpenUpload {
        validate_only: true,
        ..upload_of("j")
    };
    // Hardly another lambda than before, though r1 adds 4 %: r0 is still in the controller.
    let unmoved = richer(1.002);
    let checked = daemon.upload(check, unmoved.as_bytes()).await.unwrap();
    assert_eq!(codes(&checked), ["table_probably_not_loaded"]);
    let pull = daemon.upload(upload_of("j"), unmoved.as_bytes()).await;
    let pull = pull.unwrap();
    assert_eq!(codes(&pull), ["table_probably_not_loaded"]);
    let doubt = pull.warnings.last().unwrap();
    let message = &doubt.message;
    assert!(message.contains("r0 was still loaded"), "{message}");
    let realised = pull.realised.clone().unwrap();
    assert_eq!(realised.pulls, ["p1"]);
    assert_eq!(
        (
            realised.previous_revision.as_str(),
            realised.loaded[0].revision.as_str()
        ),
        ("r0", "r0")
    );
    assert!(
        realised.realised_fraction.unwrap().abs() < 0.3,
        "{realised:?}"
    );
    assert_eq!(realised.nodes.len(), 12);
    let get = GetPullRequest {
        name: pull.name.clone(),
    };
    let kept = inner(daemon.pulls().get_pull(get).await.unwrap());
    assert_eq!(kept.pull.unwrap(), pull);
    // The same log under what was loaded is no surprise, and a doubted pull predicts nothing.
    let honest = OpenUpload {
        revision: "r0".to_owned(),
        ..upload_of("j")
    };
    let again = daemon.upload(honest, unmoved.as_bytes()).await.unwrap();
    assert_eq!(codes(&again), ["same_log"]);
    assert_eq!(again.realised.unwrap().pulls, ["p1"]);
    daemon.stop().await;
}

/// If this fails, a table that was loaded is doubted, or the pull before the first revision is compared with itself.
#[tokio::test]
async fn a_table_that_was_loaded_is_believed() {
    let daemon = Daemon::with_revision().await;
    let get = GetPullRequest {
        name: "jobs/j/pulls/p1".to_owned(),
    };
    let first = inner(daemon.pulls().get_pull(get).await.unwrap())
        .pull
        .unwrap();
    assert!(codes(&first).is_empty() && first.realised.is_none());
    let pull = daemon
        .upload(upload_of("j"), richer(1.039).as_bytes())
        .await
        .unwrap();
    assert_eq!(codes(&pull), Vec::<&str>::new());
    let realised = pull.realised.unwrap();
    assert_eq!(realised.loaded[0].revision, "r1");
    assert!(
        (realised.realised_fraction.unwrap() - 1.0).abs() < 0.3,
        "{realised:?}"
    );
    for node in &realised.nodes {
        assert!(
            (node.predicted_lambda_ratio - 0.95).abs() < 0.01,
            "{node:?}"
        );
        assert!((node.realised_lambda_ratio - 0.95).abs() < 0.01, "{node:?}");
        assert!(
            (node.previous_lambda_ratio - 0.988).abs() < 0.01,
            "{node:?}"
        );
    }
    daemon.stop().await;
}
