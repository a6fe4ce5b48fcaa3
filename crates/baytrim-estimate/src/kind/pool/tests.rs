use baytrim_model::axis::{Axes, Axis};
use nalgebra::{DMatrix, DVector};
use serde::Deserialize;

use super::{choices, pool, pooled};
use crate::kind::{NeedEvidence, Vehicle, expected_needs};

#[derive(Deserialize)]
struct Oracle {
    effect: Vec<f64>,
    variance: Vec<f64>,
    restricted: Estimate,
    by_tau2: std::collections::BTreeMap<String, Estimate>,
    several: Several,
}

#[derive(Deserialize)]
struct Estimate {
    tau2: f64,
    mean: f64,
    standard_error: f64,
}

#[derive(Deserialize)]
struct Several {
    precision: Vec<Vec<Vec<f64>>>,
    right: Vec<Vec<f64>>,
    between: Vec<Vec<f64>>,
    before: Vec<Vec<f64>>,
    mean: Vec<f64>,
    covariance: Vec<Vec<f64>>,
    minus_two_ln: f64,
}

fn oracle() -> Oracle {
    let text = include_str!(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../tests/oracles/pooling.json"
    ));
    serde_json::from_str(text).expect("the oracle's own file")
}

fn square(rows: &[Vec<f64>]) -> DMatrix<f64> {
    DMatrix::from_fn(rows.len(), rows.len(), |i, j| rows[i][j])
}

fn one(value: f64) -> DMatrix<f64> {
    DMatrix::from_element(1, 1, value)
}

/// If this fails, vehicles that differ are pooled with other weights than random effects have. Thirteen trials in
/// Viechtbauer (2010), J. Statistical Software 36(3): restricted likelihood is largest at 0.3132, mean -0.7145,
/// standard error 0.1798; means and errors at the spreads of two other methods by statsmodels.
#[test]
fn one_need_is_pooled_as_published() {
    let oracle = oracle();
    let pairs = oracle.effect.iter().zip(&oracle.variance);
    let trials: Vec<_> = pairs
        .map(|(&effect, &variance)| {
            let precision = 1.0 / variance;
            (one(precision), DVector::from_element(1, precision * effect))
        })
        .collect();
    let at = |tau2: f64| pooled(&trials, &one(tau2), &one(1e7)).expect("solvable");
    let published = &oracle.restricted;
    assert!((published.tau2 - 0.3132).abs() < 5e-5);
    assert!((published.mean + 0.7145).abs() < 5e-5);
    assert!((published.standard_error - 0.1798).abs() < 5e-5);
    let badness = |tau2: f64| at(tau2).badness;
    for step in [0.999, 1.001] {
        assert!(badness(published.tau2) < badness(step * published.tau2));
    }
    for estimate in oracle.by_tau2.values().chain([published]) {
        let found = at(estimate.tau2);
        assert!((found.mean[0] - estimate.mean).abs() < 1e-6);
        let error = (found.covariance[(0, 0)] - estimate.tau2).sqrt();
        assert!((error - estimate.standard_error).abs() < 1e-6, "{error}");
    }
}

/// If this fails, needs of several nodes, some of them not measured on every vehicle, are pooled with another
/// covariance than the one that is written down: the oracle builds all of it densely.
#[test]
fn several_needs_are_pooled_as_the_dense_covariance_says() {
    let several = oracle().several;
    let sides = several.right.iter().zip(&several.precision);
    let vehicles: Vec<_> = sides
        .map(|(right, precision)| (square(precision), DVector::from_column_slice(right)))
        .collect();
    let (between, before) = (square(&several.between), square(&several.before));
    let found = pooled(&vehicles, &between, &before).expect("solvable");
    assert!((found.badness - several.minus_two_ln).abs() < 1e-8);
    let wanted = square(&several.covariance);
    assert!((found.covariance - wanted).amax() < 1e-9);
    let away = found.mean - DVector::from_column_slice(&several.mean);
    assert!(away.amax() < 1e-9);
}

fn axes() -> Axes {
    Axes {
        rpm: Axis::new("rpm", vec![1000.0, 2500.0, 4000.0, 6000.0]).expect("sorted"),
        plate_percent: Axis::new("plate", vec![0.0, 10.0, 40.0, 100.0]).expect("sorted"),
    }
}

/// A vehicle that needs `need` everywhere it was, known to 0.5 % at each node.
fn vehicle(axes: &Axes, need: f64, was_at: impl Fn(usize) -> bool) -> Vehicle<'_> {
    let nodes = axes.node_count();
    let known = |node: usize| {
        if was_at(node) {
            1.0 / 0.005_f64.powi(2)
        } else {
            0.0
        }
    };
    let diagonal = DVector::from_fn(nodes, |node, _| known(node));
    Vehicle {
        axes,
        evidence: NeedEvidence {
            right: need * &diagonal,
            precision: DMatrix::from_diagonal(&diagonal),
        },
        shift: vec![0.0; nodes],
        dwell_s: (0..nodes)
            .map(|node| if was_at(node) { 9.0 } else { 0.0 })
            .collect(),
    }
}

/// If this fails, one vehicle counts as all of its kind, vehicles that are alike teach no more than two, or vehicles
/// that differ look as sure as vehicles that are alike.
#[test]
fn the_spread_is_learnt_and_few_vehicles_leave_it_wide() {
    let axes = axes();
    let sd = |needs: &[f64]| {
        let all: Vec<_> = needs
            .iter()
            .map(|&need| vehicle(&axes, need, |_| true))
            .collect();
        let prior = pool(&axes, &all);
        let (mean, sd) = expected_needs(&axes, &prior).expect("sound");
        (mean[5], sd[5])
    };
    let (one, two) = (sd(&[0.06]), sd(&[0.06, 0.06]));
    let (alike, apart) = (
        sd(&[0.06; 8]),
        sd(&[0.1, 0.02, 0.09, 0.03, 0.1, 0.02, 0.09, 0.03]),
    );
    for found in [one, two, alike, apart] {
        assert!((found.0 - 0.06).abs() < 0.006, "{found:?}");
    }
    // Its own difference from the mean is as unknown as the next one's.
    assert!(one.1 > 0.03 && one.1 < 0.045, "{one:?}");
    assert!(two.1 < one.1 && alike.1 < 0.75 * two.1, "{two:?} {alike:?}");
    assert!(alike.1 > 0.01, "a sensor's bias stays: {alike:?}");
    assert!(apart.1 > 0.035, "{apart:?}");
}

/// If this fails, nodes that no vehicle was at are taught all the same.
#[test]
fn what_was_not_measured_stays_unknown() {
    let axes = axes();
    let low = |node: usize| node < 8;
    let all: Vec<_> = [0.05, 0.06, 0.07]
        .map(|need| vehicle(&axes, need, low))
        .into();
    let prior = pool(&axes, &all);
    let (_, sd) = expected_needs(&axes, &prior).expect("sound");
    assert!(sd[0] < 0.03 && sd[15] > 0.05, "{sd:?}");
    assert_eq!((prior.vehicles[0], prior.vehicles[15]), (3, 0));
    assert_eq!(prior.vehicle_count, 3);
    let none = pool(&axes, &[]);
    let (mean, sd) = expected_needs(&axes, &none).expect("sound");
    assert!(mean[3].abs() < 1e-12 && sd[3] > 0.1);
}

/// If this fails, a vehicle whose table has other axes teaches another need than its own at the same place, or one
/// outside the new axes bends the edge.
#[test]
fn other_axes_teach_the_same_places() {
    let (fine, coarse) = (
        Axes {
            rpm: Axis::new(
                "rpm",
                (0..9).map(|i| 1000.0 + 800.0 * f64::from(i)).collect(),
            )
            .expect("sorted"),
            plate_percent: Axis::new("plate", vec![0.0, 5.0, 20.0, 60.0, 100.0]).expect("sorted"),
        },
        axes(),
    );
    let need = |rpm: f64| 0.02 + 1e-5 * rpm;
    let mut other = vehicle(&fine, 0.0, |_| true);
    for node in 0..fine.node_count() {
        let (rpm, _) = fine.position(node);
        // What lies outside says something else altogether.
        let says = if rpm > 6000.0 { -0.5 } else { need(rpm) };
        other.evidence.right[node] = says * other.evidence.precision[(node, node)];
    }
    let prior = pool(&coarse, &[other]);
    let (mean, _) = expected_needs(&coarse, &prior).expect("sound");
    for (node, found) in mean.iter().enumerate() {
        let (rpm, _) = coarse.position(node);
        assert!((found - need(rpm)).abs() < 0.004, "{node}: {found}");
    }
}

/// If this fails, the weights of sizes are not those of half-normal priors.
#[test]
fn every_choice_has_a_weight() {
    let all = choices();
    assert_eq!(all.len(), 75);
    assert!(all.iter().all(|(_, weight)| *weight > 0.0));
}
