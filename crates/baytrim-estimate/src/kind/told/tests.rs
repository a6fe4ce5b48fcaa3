use baytrim_model::axis::{Axes, Axis};
use nalgebra::{DMatrix, DVector};
use serde::Deserialize;

use super::{Told, chance_above, disagreement, expected_needs};
use crate::fit::{Envelope, Order, own_envelope};
use crate::kind::{NeedEvidence, Vehicle, pool};
use crate::{FitSettings, fit_of_kind};

fn axes() -> Axes {
    let rpm = (0..12).map(|i| 1000.0 + 800.0 * f64::from(i)).collect();
    let plate = vec![
        0.0, 2.0, 4.0, 7.0, 10.0, 15.0, 20.0, 30.0, 45.0, 70.0, 100.0,
    ];
    Axes {
        rpm: Axis::new("rpm", rpm).expect("sorted"),
        plate_percent: Axis::new("plate", plate).expect("sorted"),
    }
}

fn evidence(axes: &Axes, need: f64, error: f64) -> NeedEvidence {
    let nodes = axes.node_count();
    let was_at = |node: usize| axes.position(node).0 < 7000.0;
    let diagonal = DVector::from_fn(nodes, |node, _| f64::from(was_at(node)) / (error * error));
    NeedEvidence {
        right: need * &diagonal,
        precision: DMatrix::from_diagonal(&diagonal),
    }
}

fn prior(axes: &Axes) -> baytrim_model::library::KindPrior {
    let vehicles = [0.05, 0.07, 0.06, 0.04].map(|need| Vehicle {
        axes,
        evidence: evidence(axes, need, 0.01),
        shift: vec![0.0; axes.node_count()],
        dwell_s: vec![5.0; axes.node_count()],
    });
    pool(axes, &vehicles)
}

/// If this fails, the equations of a fit hold something else than what the kind tells: mean and standard deviation of
/// every node with no pull at all are held against the dense covariance.
#[test]
fn a_fit_without_pulls_is_what_the_kind_tells() {
    let axes = axes();
    let prior = prior(&axes);
    let (mean, sd) = expected_needs(&axes, &prior).expect("sound");
    let settings = FitSettings::default();
    let (fit, _) = fit_of_kind(&axes, &[], &settings, &prior).expect("solvable");
    for node in 0..axes.node_count() {
        assert!(
            (fit.theta[node] - mean[node]).abs() < 0.1 * sd[node],
            "mean of {node}"
        );
        let share = fit.standard_error[node] / sd[node];
        assert!((0.93..1.07).contains(&share), "{node}: {share}");
    }
}

/// If this fails, the sparse precision is not that of the dense covariance even where the envelope holds all of it.
#[test]
fn a_full_envelope_holds_the_very_inverse() {
    let axes = axes();
    let told = Told::new(&axes, &prior(&axes)).expect("sound");
    let order = Order::new(&axes);
    let nodes = axes.node_count();
    let full = Envelope::zero(vec![0; nodes]);
    let (precision, right) = told.in_envelope(&order, &full).expect("positive definite");
    let factor = precision.cholesky().expect("positive definite");
    let mut mean = right;
    factor.solve(&mut mean);
    for node in 0..nodes {
        let place = order.position[node];
        assert!((mean[place] - told.mean[node]).abs() < 1e-6);
        let mut column = vec![0.0; nodes];
        column[place] = 1.0;
        factor.solve(&mut column);
        for other in 0..nodes {
            let found = column[order.position[other]];
            assert!((found - told.covariance[(node, other)]).abs() < 1e-7);
        }
    }
    // The usual envelope is narrower, and still positive definite.
    let narrow = Envelope::zero(own_envelope(&axes, &order));
    assert!(told.in_envelope(&order, &narrow).is_some());
}

#[derive(Deserialize)]
struct Tails {
    chi_square: Vec<(f64, u8, f64)>,
}

/// If this fails, a vehicle is called one of its kind, or not, by another distribution. Tails by scipy's `chi2.sf`.
#[test]
fn tails_are_those_of_chi_square() {
    let text = include_str!(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../tests/oracles/pooling.json"
    ));
    let tails: Tails = serde_json::from_str(text).expect("the oracle's own file");
    for (value, freedom, wanted) in tails.chi_square {
        let found = chance_above(value, usize::from(freedom));
        assert!((found - wanted).abs() < 0.005, "{value} {freedom}: {found}");
    }
    assert!((chance_above(0.0, 0) - 1.0).abs() < 1e-12);
}

/// If this fails, a vehicle that is nothing like its kind passes for one of it, or one like it does not.
#[test]
fn a_stranger_is_told_from_one_of_the_kind() {
    let axes = axes();
    let prior = prior(&axes);
    let chance = |need: f64| {
        let own = evidence(&axes, need, 0.008);
        disagreement(&axes, &own, &prior).expect("sound")
    };
    let like = chance(0.06);
    assert!(like.chance > 0.3 && like.freedom > 0, "{like:?}");
    let stranger = chance(-0.06);
    assert!(stranger.chance < 0.01, "{stranger:?}");
}

/// If this fails, a damaged prior is believed.
#[test]
fn a_damaged_prior_is_refused() {
    let axes = axes();
    let mut prior = prior(&axes);
    prior.mean.pop();
    assert!(expected_needs(&axes, &prior).is_none());
    let settings = FitSettings::default();
    assert!(fit_of_kind(&axes, &[], &settings, &prior).is_err());
}
