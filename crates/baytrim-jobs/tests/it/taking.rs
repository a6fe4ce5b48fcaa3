//! Taking part of a proposal, or less than was proposed.

use baytrim_estimate::limit::{NodeEstimates, propose_nodes};
use baytrim_jobs::verdict::{self, Ask, Choice, NodeChoice};
use baytrim_jobs::{JobState, Refusal, propose};
use baytrim_model::record::JobEvent;
use baytrim_model::revision::Revision;
use proptest::prelude::*;

use crate::house::{ask, fold, opened, proposal, proposed, record, several};

/// A limit of 12 % admits a factor of 1.12 in spite of its last bit.
const SLACK: f64 = 1e-9;

fn approve(state: &JobState, choice: &Choice) -> Result<(Revision, Vec<usize>), Refusal> {
    let ask: Ask = ask(state, "less is enough");
    match verdict::approve(state, &ask, choice, &several())? {
        JobEvent::ProposalApproved {
            revision, reduced, ..
        } => Ok((*revision, reduced)),
        other => panic!("{other:?}"),
    }
}

fn at(state: &JobState, node: usize, value: f64) -> Choice {
    let (rpm, plate_percent) = state.spec.axes.position(node);
    Choice {
        nodes: vec![NodeChoice {
            rpm,
            plate_percent,
            value: Some(value),
        }],
        grip_percent: Vec::new(),
        share_percent: 100.0,
    }
}

/// If this fails, a reviewer who trusts half of a change has to take all of it or nothing.
#[test]
fn less_than_proposed_can_be_taken() {
    let state = fold(&proposed(&[(7, 3.5), (8, -2.0), (9, 0.5)]));
    let half = Choice {
        share_percent: 50.0,
        ..Choice::whole()
    };
    let (revision, reduced) = approve(&state, &half).expect("granted");
    // 1.75 is rounded towards less; half of one step is none, and so not taken.
    assert_eq!(revision.values[7..10], [1.5, -1.0, 0.0]);
    assert_eq!(reduced, [7, 8]);
    let (revision, reduced) = approve(&state, &at(&state, 7, 2.5)).expect("granted");
    assert_eq!(revision.values[7..10], [2.5, 0.0, 0.0]);
    assert_eq!(reduced, [7]);
    let (_, reduced) = approve(&state, &at(&state, 7, 3.5)).expect("granted");
    assert!(reduced.is_empty(), "all of it is not less");
}

/// If this fails, a verdict puts more into a table than anybody computed, or takes it the other way.
#[test]
fn more_than_proposed_is_never_taken() {
    let state = fold(&proposed(&[(7, 3.5), (8, -2.0)]));
    let rows = [
        (
            7,
            4.0,
            "nodes[0].after: 4 is not past 0 and at most as far as the proposed 3.5",
        ),
        (7, -0.5, "nodes[0].after: -0.5 is not past 0"),
        (7, 0.0, "nodes[0].after: 0 is not past 0"),
        (8, -2.5, "nodes[0].after: -2.5 is not past 0"),
        (
            7,
            1.25,
            "nodes[0].after: 1.25 is none that the table stores",
        ),
        (7, f64::NAN, "nodes[0].after: NaN is none"),
        (7, f64::INFINITY, "nodes[0].after: inf is none"),
    ];
    for (node, value, words) in rows {
        let refusal = approve(&state, &at(&state, node, value)).expect_err("refused");
        assert!(refusal.to_string().starts_with(words), "{refusal}");
    }
    for share_percent in [0.0, -50.0, 100.1, f64::NAN, 1.0] {
        let choice = Choice {
            share_percent,
            ..Choice::whole()
        };
        let refusal = approve(&state, &choice).expect_err("refused");
        assert!(
            refusal.to_string().starts_with("share_percent: "),
            "{refusal}"
        );
    }
    let mut twice = at(&state, 7, 1.0);
    twice.nodes.extend(at(&state, 7, 2.0).nodes);
    let refusal = approve(&state, &twice).expect_err("refused");
    assert!(refusal.to_string().contains("twice"), "{refusal}");
}

/// If this fails, a reviewer who may not take one node alone is not told which neighbour it hangs on.
#[test]
fn a_broken_limit_names_the_pair() {
    let state = fold(&proposed(&[(6, 10.0), (7, 20.0), (8, 10.0)]));
    let refusal = approve(&state, &at(&state, 7, 20.0)).expect_err("refused");
    let text = refusal.to_string();
    assert!(text.contains("3000 rpm, 5 % and "), "{text}");
    assert!(text.contains("further than 12 % apart"), "{text}");
}

/// What the estimate says of the nodes, with a table in force, all invented.
#[derive(Debug, Clone)]
struct Case {
    theta: Vec<f64>,
    standard_error: Vec<f64>,
    visits: Vec<u32>,
    head: Vec<i32>,
    taken: Vec<bool>,
    share_percent: f64,
}

fn any_case() -> impl Strategy<Value = Case> {
    let nodes = 36;
    (
        prop::collection::vec(-0.35..0.35, nodes),
        prop::collection::vec(0.001..0.03, nodes),
        prop::collection::vec(0u32..5, nodes),
        prop::collection::vec(-40..40, nodes),
        prop::collection::vec(any::<bool>(), nodes),
        prop_oneof![Just(100.0), 1.0..100.0],
    )
        .prop_map(
            |(theta, standard_error, visits, head, taken, share_percent)| Case {
                theta,
                standard_error,
                visits,
                head,
                taken,
                share_percent,
            },
        )
}

/// Returns a job with a proposal as the estimator makes them.
fn job(case: &Case) -> JobState {
    let mut records = opened();
    if let JobEvent::JobOpened { spec } = &mut records[0].event {
        spec.table.values = case
            .head
            .iter()
            .map(|&tenth| f64::from(tenth) / 10.0)
            .collect();
    }
    let state = fold(&records);
    let dwell_s: Vec<f64> = case
        .visits
        .iter()
        .map(|&visits| f64::from(visits))
        .collect();
    let estimates = NodeEstimates {
        theta: &case.theta,
        standard_error: &case.standard_error,
        sensor_error: 0.005,
        dwell_s: &dwell_s,
        visits: &case.visits,
        measured_fraction: &vec![0.9; case.theta.len()],
        false_lean: &[],
        least_fuel: &[],
    };
    let spec = &state.spec;
    let nodes = propose_nodes(
        &spec.axes,
        &spec.table,
        &spec.target_lambda,
        &spec.limits,
        &state.head().values,
        &estimates,
    );
    let mut made = proposal(&state, &[]);
    made.nodes = nodes.expect("in range");
    records.push(record(propose::event(made), "tuner", None));
    fold(&records)
}

fn choice(state: &JobState, case: &Case) -> Option<Choice> {
    let nodes = &state.proposals[0].proposal.nodes;
    let taken = (0..nodes.len())
        .filter(|&node| case.taken[node] && (nodes[node].after - nodes[node].before).abs() > 0.0);
    let taken: Vec<(f64, f64)> = taken.map(|node| state.spec.axes.position(node)).collect();
    (!taken.is_empty()).then(|| Choice {
        share_percent: case.share_percent,
        ..Choice::of(&taken)
    })
}

/// Returns what a table breaks, told apart from how the limiter tells it.
fn broken(state: &JobState, values: &[f64]) -> Option<String> {
    let (spec, limits) = (&state.spec, &state.spec.limits);
    let fuel = |value: f64| spec.table.content.fuel(value);
    let factor = |values: &[f64], node: usize| fuel(values[node]) / fuel(spec.table.values[node]);
    let head = &state.head().values;
    for (node, change) in state.proposals[0].proposal.nodes.iter().enumerate() {
        let (low, high) = (
            change.before.min(change.after),
            change.before.max(change.after),
        );
        if values[node] < low || values[node] > high {
            return Some(format!("node {node} went further than proposed"));
        }
        let step = (fuel(values[node]) / fuel(head[node]) - 1.0).abs() * 100.0;
        if step > limits.step_percent + 1e-6 {
            return Some(format!("node {node} steps {step} %"));
        }
        let total = (factor(values, node) - 1.0).abs() * 100.0;
        if total > limits.total_percent + 1e-6 {
            return Some(format!("node {node} is {total} % off its base"));
        }
        // Less fuel makes lambda grow by as much.
        let lambda = change.lambda_before * fuel(head[node]) / fuel(values[node]);
        let wall = limits.leanest_lambda_at(change.rpm, change.plate_percent);
        if lambda > wall.max(change.lambda_before) * (1.0 + SLACK) {
            return Some(format!("node {node} would be at lambda {lambda}"));
        }
    }
    for (one, other) in spec.axes.neighbours() {
        for (upper, lower) in [(one, other), (other, one)] {
            let (high, low) = (factor(values, upper), factor(values, lower));
            let limit = limits.neighbour_percent / 100.0;
            if high / low > (1.0 + limit) * (1.0 + 1e-6) || high - low > limit + 1e-6 {
                return Some(format!("{upper} and {lower} are too far apart"));
            }
        }
    }
    None
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// If this fails, some part of a proposal can be approved into a table that the job's limits forbid.
    #[test]
    fn whatever_is_taken_meets_the_limits_or_is_refused(case in any_case()) {
        let state = job(&case);
        let Some(choice) = choice(&state, &case) else {
            return Ok(());
        };
        match approve(&state, &choice) {
            Ok((revision, _)) => prop_assert_eq!(broken(&state, &revision.values), None),
            Err(refusal) => prop_assert!(
                ["SUBSET_BREAKS_NEIGHBOUR_LIMIT", "FIELD_INVALID"].contains(&refusal.reason()),
                "{}", refusal
            ),
        }
    }
}
