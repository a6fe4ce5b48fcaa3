//! The fit's linear algebra against published and independently computed values.

use baytrim_model::axis::{Axes, Axis};

use crate::fit::envelope::Envelope;
use crate::hat::HatFinder;

/// The look-up-table form of the Kalman filter (bilinear rows, as in Peyton Jones and Muske 2009), run
/// as one batch, would give another table: values computed independently in exact arithmetic for a
/// prior of 0 with sd 0.10, R = 0.0004 and the three observations below.
#[test]
fn a_cell_of_four_nodes_meets_the_kalman_filter() {
    let axes = Axes {
        rpm: Axis::new("rpm", vec![0.0, 1.0]).expect("sorted"),
        plate_percent: Axis::new("plate", vec![0.0, 1.0]).expect("sorted"),
    };
    let mut finder = HatFinder::default();
    let mut precision = Envelope::zero(vec![0; 4]);
    let mut x = vec![0.0; 4];
    for place in 0..4 {
        precision.add(place, place, 1.0 / 0.01);
    }
    for (u, v, z) in [(0.5, 0.5, 0.05), (0.25, 0.25, 0.06), (1.0, 0.5, 0.02)] {
        let hat = finder.find(&axes, u, v);
        for a in 0..4 {
            x[hat.node[a] as usize] += hat.weight[a] * z / 0.0004;
            for b in 0..=a {
                let (i, j) = (hat.node[a] as usize, hat.node[b] as usize);
                precision.add(i, j, hat.weight[a] * hat.weight[b] / 0.0004);
            }
        }
    }
    let factor = precision.cholesky().expect("positive definite");
    factor.solve(&mut x);
    let inverse = factor.selected_inverse();
    let wanted = [
        0.074_240_245_7,
        0.025_674_394_5,
        0.053_596_479_3,
        0.018_793_139_0,
    ];
    let wanted_sd = [
        0.045_596_912_9,
        0.072_193_153_2,
        0.077_486_952_2,
        0.071_168_255_8,
    ];
    for place in 0..4 {
        assert!((x[place] - wanted[place]).abs() < 1e-10, "{}", x[place]);
        assert!((inverse.get(place, place).sqrt() - wanted_sd[place]).abs() < 1e-10);
    }
}

/// NIST's reference data sets (`StRD`), linear regression, data set Norris (y, x) with certified values: the equations that
/// solve every table must meet them as far as normal equations in double precision can.
#[test]
fn norris_meets_the_certified_values() {
    let data = [
        (0.1, 0.2),
        (338.8, 337.4),
        (118.1, 118.2),
        (888.0, 884.6),
        (9.2, 10.1),
        (228.1, 226.5),
        (668.5, 666.3),
        (998.5, 996.3),
        (449.1, 448.6),
        (778.9, 777.0),
        (559.2, 558.2),
        (0.3, 0.4),
        (0.1, 0.6),
        (778.1, 775.5),
        (668.8, 666.9),
        (339.3, 338.0),
        (448.9, 447.5),
        (10.8, 11.6),
        (557.7, 556.0),
        (228.3, 228.1),
        (998.0, 995.8),
        (888.8, 887.6),
        (119.6, 120.2),
        (0.3, 0.3),
        (0.6, 0.3),
        (557.6, 556.8),
        (339.3, 339.1),
        (888.0, 887.2),
        (998.5, 999.0),
        (778.9, 779.0),
        (10.2, 11.1),
        (117.6, 118.3),
        (228.9, 229.2),
        (668.4, 669.1),
        (449.2, 448.9),
        (0.2, 0.5),
    ];
    let mut matrix = Envelope::zero(vec![0, 0]);
    let mut b = [0.0, 0.0];
    for (y, x) in data {
        matrix.add(0, 0, 1.0);
        matrix.add(1, 0, x);
        matrix.add(1, 1, x * x);
        b[0] += y;
        b[1] += x * y;
    }
    let factor = matrix.cholesky().expect("positive definite");
    factor.solve(&mut b);
    assert!(
        (b[0] / -0.262_323_073_774_029 - 1.0).abs() < 1e-9,
        "{}",
        b[0]
    );
    assert!(
        (b[1] / 1.002_116_818_020_45 - 1.0).abs() < 1e-12,
        "{}",
        b[1]
    );
    let rss: f64 = data
        .iter()
        .map(|(y, x)| (y - b[0] - b[1] * x).powi(2))
        .sum();
    assert!((rss / 26.617_398_529_422_4 - 1.0).abs() < 1e-9, "{rss}");
    let inverse = factor.selected_inverse();
    let sd = |place: usize| (rss / 34.0 * inverse.get(place, place)).sqrt();
    assert!((sd(0) / 0.232_818_234_301_152 - 1.0).abs() < 1e-9);
    assert!((sd(1) / 0.000_429_796_848_199_937 - 1.0).abs() < 1e-9);
}
