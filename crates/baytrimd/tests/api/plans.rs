//! Plans of the next pull, and the chance that none is needed.

use baytrim_api::v1::{PlanPullRequest, PullPlan, UseMap};

use crate::harness::{Daemon, inner, told};

fn request() -> PlanPullRequest {
    PlanPullRequest {
        parent: "jobs/j".to_owned(),
        ..PlanPullRequest::default()
    }
}

async fn plan(daemon: &Daemon, request: PlanPullRequest) -> PullPlan {
    let answer = daemon.corrections().plan_pull(request).await.unwrap();
    inner(answer).plan.unwrap()
}

/// If this fails, a plan is late, unsafe or without gain, or the stop rule says stop on a table that is off.
#[tokio::test]
async fn a_plan_gains_within_its_seconds() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let none = daemon.corrections().plan_pull(request()).await;
    assert_eq!(told(none), "FailedPrecondition NO_PULLS");
    let proposal = daemon.proposal("j").await;
    // The log is 4 % lean everywhere: nothing is within 3 % now, most is after the proposal.
    let done = proposal.done.unwrap();
    assert_eq!((done.node_count, done.tolerance_percent), (12, 3.0));
    assert!(
        done.probability < 0.05 && done.within_fraction < 0.3,
        "{done:?}"
    );
    assert!(done.proposed_probability.unwrap() > 0.8, "{done:?}");
    let plan_now = plan(&daemon, request()).await;
    assert_eq!(plan_now.pulls, ["p1"]);
    assert_eq!(plan_now.revision, "r0");
    assert!(plan_now.total_s <= 120.0 && !plan_now.steps.is_empty());
    assert!(plan_now.planned_standard_error_percent < plan_now.standard_error_percent);
    let errors: Vec<f64> = plan_now
        .steps
        .iter()
        .map(|step| step.standard_error_percent)
        .collect();
    assert!(errors.is_sorted_by(|a, b| a >= b), "{errors:?}");
    let short = plan(
        &daemon,
        PlanPullRequest {
            plan_s_max: 20.0,
            tolerance_percent: 10.0,
            use_map: UseMap::WideOpen.into(),
            ..request()
        },
    )
    .await;
    assert!(short.total_s <= 20.0);
    assert!(short.done.unwrap().probability > 0.95);
    let mut weights = vec![0.0; 12];
    weights[5] = 1.0;
    let own = plan(
        &daemon,
        PlanPullRequest {
            use_values: weights,
            ..request()
        },
    )
    .await;
    assert_eq!(own.done.unwrap().node_count, 1);
    daemon.stop().await;
}

/// If this fails, a plan is computed from what nobody can mean.
#[tokio::test]
async fn bad_plans_name_the_field() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    daemon.proposal("j").await;
    let bad = [
        (
            PlanPullRequest {
                plan_s_max: 5.0,
                ..request()
            },
            "plan_s_max",
        ),
        (
            PlanPullRequest {
                plan_s_max: f64::NAN,
                ..request()
            },
            "plan_s_max",
        ),
        (
            PlanPullRequest {
                tolerance_percent: -1.0,
                ..request()
            },
            "tolerance_percent",
        ),
        (
            PlanPullRequest {
                use_map: 77,
                ..request()
            },
            "use_map",
        ),
        (
            PlanPullRequest {
                use_values: vec![1.0],
                ..request()
            },
            "use_values",
        ),
        (
            PlanPullRequest {
                use_values: vec![0.0; 12],
                ..request()
            },
            "use_map",
        ),
        (
            PlanPullRequest {
                use_values: vec![1.0; 12],
                use_map: 2,
                ..request()
            },
            "use_values",
        ),
        (
            PlanPullRequest {
                excluded_pulls: vec!["q".to_owned()],
                ..request()
            },
            "excluded_pulls[0]",
        ),
    ];
    for (request, field) in bad {
        let refused = daemon.corrections().plan_pull(request).await;
        assert_eq!(
            told(refused),
            format!("InvalidArgument FIELD_INVALID {field}")
        );
    }
    daemon.stop().await;
}
