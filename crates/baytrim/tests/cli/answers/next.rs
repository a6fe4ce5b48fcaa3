//! What came of a revision, and what to run next.

use baytrim_api::v1::{
    DoneChance, FuelStep, LoadedChance, PlanStep, PullPlan, Realised, RealisedNode,
    ReproduceProposalResponse, ReproducedNode, ReproducedPull,
};

/// A pull under `r1` that shows three quarters of what was predicted.
pub(crate) fn realised() -> Realised {
    let node = |rpm: f64, predicted: f64, realised: f64| RealisedNode {
        rpm,
        plate_percent: 20.0,
        previous_lambda_ratio: 0.962,
        predicted_lambda_ratio: predicted,
        realised_lambda_ratio: realised,
        difference_error_percent: 0.8,
    };
    Realised {
        pulls: vec!["p1".to_owned(), "p2".to_owned()],
        previous_revision: "r0".to_owned(),
        loaded: vec![
            LoadedChance {
                revision: "r1".to_owned(),
                probability: 0.96,
            },
            LoadedChance {
                revision: "r0".to_owned(),
                probability: 0.04,
            },
        ],
        realised_fraction: Some(0.75),
        realised_fraction_error: 0.12,
        nodes: vec![node(3000.0, 0.9, 0.903), node(4500.0, 0.9, 0.925)],
    }
}

/// A plan of two runs.
pub(crate) fn plan() -> PullPlan {
    let step = |end_rpm: f64, run_s: f64, error: f64, sentence: &str| PlanStep {
        start_rpm: 3000.0,
        end_rpm,
        plate_percent: 40.0,
        run_s,
        total_s: run_s + 4.0,
        standard_error_percent: error,
        sentence: sentence.to_owned(),
    };
    PullPlan {
        done: Some(DoneChance {
            tolerance_percent: 3.0,
            node_count: 63,
            probability: 0.62,
            within_fraction: 0.98,
            proposed_probability: None,
            proposed_within_fraction: None,
        }),
        steps: vec![
            step(
                9000.0,
                12.0,
                0.8,
                "sweep 3000 to 9000 rpm up and down at 40 %, 12 s in all",
            ),
            step(3000.0, 6.0, 0.72, "hold 3000 rpm at 40 % for 6 s"),
        ],
        standard_error_percent: 1.1,
        planned_standard_error_percent: 0.72,
        total_s: 26.0,
        unreachable_node_count: 3,
        revision: "r1".to_owned(),
        pulls: vec!["p1".to_owned(), "p2".to_owned()],
        cautions: vec!["This is advice. A licensed, competent person decides.".to_owned()],
        fuel_steps: vec![FuelStep {
            rpm: 4000.0,
            plate_percent: 20.0,
            step_percent: 5.0,
            step_count: 2,
            step_s: 3.0,
            run_s: 12.0,
            total_s: 17.0,
            sentence: "hold 4000 rpm at 20 %, step fuel up by 5 % for 3 s and back for 3 s, twice, 12 s in all"
                .to_owned(),
        }],
    }
}

/// A proposal that a later estimator computes otherwise at one node.
pub(crate) fn reproduction() -> ReproduceProposalResponse {
    let pull = |pull: &str, evidence_identical| ReproducedPull {
        pull: pull.to_owned(),
        log_sha256: "5a".repeat(32),
        evidence_identical,
    };
    ReproduceProposalResponse {
        identical: false,
        recorded_estimator: "baytrim-estimate 0.1.0".to_owned(),
        estimator: "baytrim-estimate 0.2.0".to_owned(),
        pulls: vec![pull("p1", true), pull("p2", false)],
        node_count: 96,
        other_value_count: 1,
        differing_nodes: vec![ReproducedNode {
            rpm: 3000.0,
            plate_percent: 20.0,
            recorded_after: 4.5,
            after: 4.0,
            recorded_correction_percent: 4.4612,
            correction_percent: 4.2217,
        }],
        differing_node_count: 1,
        correction_difference_percent_max: 0.2395,
    }
}
