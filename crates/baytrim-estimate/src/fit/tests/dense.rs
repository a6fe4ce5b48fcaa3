//! The sparse fit against the dense one: the same model with every covariance written out.

use baytrim_model::axis::{Axes, Axis};
use nalgebra::{DMatrix, DVector};

use crate::evidence::{Block, EVIDENCE_VERSION, PullEvidence};
use crate::film::FILM_STATES;
use crate::fit::border_prior;
use crate::fit::envelope::Envelope;
use crate::fit::episode::Episodes;
use crate::fit::noise::{Noise, mean_variance};
use crate::fit::normal::{LOCAL_BORDER, Normal, border_len, border_of};
use crate::fit::order::Order;
use crate::fit::prior::Smoothness;

fn axes() -> Axes {
    Axes {
        rpm: Axis::new("rpm", vec![1000.0, 2000.0, 3500.0, 5000.0, 7000.0]).expect("sorted"),
        plate_percent: Axis::new("plate", vec![0.0, 5.0, 20.0, 100.0]).expect("sorted"),
    }
}

/// Two pulls whose blocks wander over the table, with gaps.
fn pulls(nodes: usize) -> Vec<PullEvidence> {
    (0..2_u16)
        .map(|pull| {
            let mut evidence = PullEvidence {
                version: EVIDENCE_VERSION,
                node_count: u32::try_from(nodes).expect("few"),
                delay_error: 0.2,
                dwell_s: vec![1.0; nodes],
                visits: vec![1; nodes],
                ..PullEvidence::default()
            };
            for step in 0..60_u16 {
                let wave = f32::from(step * 7 % 11) * 0.01;
                let node = (step / 4 + 3 * pull) % 14;
                evidence.blocks.push(Block {
                    mid_s: f32::from(step) * 0.2 + if step > 30 { 3.0 } else { 0.0 },
                    length_s: 0.2,
                    need: 0.02 + wave,
                    spread: 0.0,
                    delay_s: 0.1,
                    film: [wave - 0.04, 0.5 * wave, 0.2 * wave, 0.3 - wave],
                    begins: step == 0 || step == 31,
                    nodes: 3,
                });
                evidence
                    .footprint
                    .extend([(node, 0.5), (node + 1, 0.3), (node + 5, 0.2)]);
            }
            evidence
        })
        .collect()
}

struct Dense {
    design: DMatrix<f64>,
    need: DVector<f64>,
    covariance: DMatrix<f64>,
}

/// Writes every observation out: nodes by position, then the border.
fn written_out(all: &Episodes, nodes: usize, pulls: usize, noise: &Noise) -> Dense {
    let rows = all.observations.len();
    let mut design = DMatrix::zeros(rows, nodes + border_len(pulls));
    let mut need = DVector::zeros(rows);
    let mut covariance = DMatrix::zeros(rows, rows);
    for episode in &all.stays {
        for row in episode.start..episode.end {
            let observation = &all.observations[row];
            need[row] = observation.need;
            for &(place, share) in &all.footprint[observation.start..observation.end] {
                design[(row, episode.places[place])] += share;
            }
            let mut local = vec![1.0, observation.late, observation.late];
            local.extend(observation.film);
            for (index, value) in local.iter().enumerate().take(LOCAL_BORDER) {
                design[(row, nodes + border_of(episode.pull, pulls, index))] += value;
            }
            // The AR(1) covariance of rows that are some blocks apart, then the episode's own effects.
            let mut memory = 1.0;
            for other in (episode.start..=row).rev() {
                let there = &all.observations[other];
                let size = |one: &crate::fit::episode::Observation| {
                    noise.block * (mean_variance(noise.correlation, one.blocks) / one.weight).sqrt()
                };
                let mut value = memory * size(observation) * size(there);
                value += noise.episode * noise.episode / episode.weight;
                for term in 0..FILM_STATES {
                    value += noise.film * noise.film / episode.weight
                        * observation.film[term]
                        * there.film[term];
                }
                covariance[(row, other)] = value;
                covariance[(other, row)] = value;
                memory *= there
                    .steps
                    .map_or(0.0, |steps| noise.correlation.powf(steps));
            }
        }
    }
    Dense {
        design,
        need,
        covariance,
    }
}

/// A pull that is held against a fit it still is in would call any fit right.
#[test]
fn without_a_pull_is_the_fit_of_the_others() {
    let axes = axes();
    let order = Order::new(&axes);
    let stored = pulls(axes.node_count());
    let pulls: Vec<&PullEvidence> = stored.iter().collect();
    let all = Episodes::new(&axes, &order, &pulls);
    let zero = Envelope::zero(all.envelope(&axes, &order));
    let noise = Noise::default();
    let of = |pull: usize| {
        let mut part = all.clone();
        part.stays.retain(|stay| stay.pull == pull);
        Normal::sum(&part, 2, &noise, &zero)
    };
    let prior = Smoothness::new(&axes, &order, &zero).precision([900.0, 400.0]);
    let border = border_prior(&pulls, &noise);
    let rest = Normal::sum(&all, 2, &noise, &zero).without(&of(0));
    let found = rest.solve(&prior, &border).expect("solvable");
    let wanted = of(1).solve(&prior, &border).expect("solvable");
    for (found, wanted) in found.theta.iter().zip(&wanted.theta) {
        assert!((found - wanted).abs() < 1e-9, "{found} for {wanted}");
    }
    // The pull that is out has its offset at the prior.
    assert!(found.border[0].abs() < 1e-9, "{}", found.border[0]);
}

/// A sparse posterior that left the dense one would report wrong corrections with wrong certainty.
#[test]
fn the_sparse_fit_is_the_dense_fit() {
    let axes = axes();
    let (nodes, order) = (axes.node_count(), Order::new(&axes));
    let stored = pulls(nodes);
    let pulls: Vec<&PullEvidence> = stored.iter().collect();
    let mut all = Episodes::new(&axes, &order, &pulls);
    all.learn_delay(&vec![0.01; nodes], &[0.1, 0.1, 0.0]);
    let zero = Envelope::zero(all.envelope(&axes, &order));
    let prior = Smoothness::new(&axes, &order, &zero).precision([900.0, 400.0]);
    let noise = Noise::default();
    let border = border_prior(&pulls, &noise);
    let solution = Normal::sum(&all, pulls.len(), &noise, &zero)
        .solve(&prior, &border)
        .expect("solvable");

    let dense = written_out(&all, nodes, pulls.len(), &noise);
    let size = nodes + border.len();
    let mut precision = DMatrix::from_fn(size, size, |i, j| {
        if i < nodes && j < nodes {
            prior.get(i, j)
        } else {
            0.0
        }
    });
    let mut right = DVector::zeros(size);
    for (column, (mean, strength)) in border.iter().enumerate() {
        precision[(nodes + column, nodes + column)] = *strength;
        right[nodes + column] = mean * strength;
    }
    let weighted = dense
        .covariance
        .clone()
        .lu()
        .solve(&dense.design)
        .expect("regular");
    precision += dense.design.transpose() * &weighted;
    right += weighted.transpose() * &dense.need;
    let posterior = precision.try_inverse().expect("regular");
    let mean = &posterior * right;
    let variances = solution.variances();
    for place in 0..nodes {
        assert!(
            (solution.theta[place] - mean[place]).abs() < 1e-9,
            "mean at {place}"
        );
        let (found, wanted) = (variances[place], posterior[(place, place)]);
        assert!(
            (found - wanted).abs() < 1e-8 * wanted,
            "variance at {place}: {found} {wanted}"
        );
    }
    for column in 0..border.len() {
        assert!((solution.border[column] - mean[nodes + column]).abs() < 1e-9);
    }
}

/// Sizes of noise and strengths of the prior are chosen by it: differences must be those of the density.
#[test]
fn the_marginal_likelihood_is_the_dense_one() {
    let axes = axes();
    let (nodes, order) = (axes.node_count(), Order::new(&axes));
    let stored = pulls(nodes);
    let pulls: Vec<&PullEvidence> = stored.iter().collect();
    let all = Episodes::new(&axes, &order, &pulls);
    let zero = Envelope::zero(all.envelope(&axes, &order));
    let smoothness = Smoothness::new(&axes, &order, &zero);
    let both = |noise: &Noise, strength: [f64; 2]| {
        let prior = smoothness.precision(strength);
        let border = border_prior(&pulls, noise);
        let prior_ln = prior.clone().cholesky().expect("positive").ln_determinant();
        let sparse = Normal::sum(&all, pulls.len(), noise, &zero)
            .badness(&prior, prior_ln, &border)
            .expect("solvable");
        let dense = written_out(&all, nodes, pulls.len(), noise);
        let size = nodes + border.len();
        let precision = DMatrix::from_fn(size, size, |i, j| match (i < nodes, j < nodes) {
            (true, true) => prior.get(i, j),
            (false, false) if i == j => border[i - nodes].1,
            _ => 0.0,
        });
        let prior_covariance = precision.try_inverse().expect("regular");
        let mean = DVector::from_fn(
            size,
            |i, _| if i < nodes { 0.0 } else { border[i - nodes].0 },
        );
        let total = &dense.covariance + &dense.design * prior_covariance * dense.design.transpose();
        let off = &dense.need - &dense.design * mean;
        let factor = total.cholesky().expect("positive");
        let ln: f64 = factor
            .l_dirty()
            .diagonal()
            .iter()
            .map(|value| 2.0 * value.ln())
            .sum();
        // The sparse one leaves the border prior's determinant out: it does not change with what is searched.
        let border_ln: f64 = border.iter().map(|(_, precision)| precision.ln()).sum();
        (sparse - border_ln, ln + off.dot(&factor.solve(&off)))
    };
    let usual = Noise::default();
    let other = Noise {
        block: 0.02,
        correlation: 0.6,
        episode: 0.01,
        film: 0.1,
        ..usual
    };
    let (first, second) = (both(&usual, [900.0, 400.0]), both(&other, [50.0, 2000.0]));
    assert!(
        ((first.0 - second.0) - (first.1 - second.1)).abs() < 1e-6,
        "{first:?} {second:?}"
    );
}
