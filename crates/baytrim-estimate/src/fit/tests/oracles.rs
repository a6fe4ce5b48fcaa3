//! Solver, whitening and weights of the fit against other libraries. Values: `tests/oracles/regression.json`, which
//! `tests/oracles/regression.py` computed with numpy and statsmodels; certified ones are NIST's (`StRD`).

use serde_json::Value;

use crate::fit::envelope::{Envelope, dot};
use crate::fit::noise::{Noise, RowNoise, Whitening, whiten};

fn oracle() -> Value {
    let text = include_str!(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../tests/oracles/regression.json"
    ));
    serde_json::from_str(text).expect("the oracle is JSON")
}

fn list(value: &Value) -> Vec<f64> {
    let entries = value.as_array().expect("a list").iter();
    entries
        .map(|entry| entry.as_f64().expect("a number"))
        .collect()
}

fn columns(rows: &Value) -> Vec<Vec<f64>> {
    let rows: Vec<Vec<f64>> = rows.as_array().expect("rows").iter().map(list).collect();
    let count = rows[0].len();
    (0..count)
        .map(|column| rows.iter().map(|row| row[column]).collect())
        .collect()
}

/// Least squares by the fit's own solver.
fn solve(columns: &[Vec<f64>], y: &[f64]) -> Option<(Vec<f64>, Envelope)> {
    let mut matrix = Envelope::zero(vec![0; columns.len()]);
    let mut b = Vec::new();
    for (row, left) in columns.iter().enumerate() {
        for (column, right) in columns.iter().enumerate().take(row + 1) {
            matrix.add(row, column, dot(left, right));
        }
        b.push(dot(left, y));
    }
    let factor = matrix.cholesky()?;
    factor.solve(&mut b);
    Some((b, factor.selected_inverse()))
}

/// Largest relative difference.
fn off(found: &[f64], wanted: &[f64]) -> f64 {
    let pairs = found.iter().zip(wanted);
    pairs.map(|(a, b)| (a / b - 1.0).abs()).fold(0.0, f64::max)
}

/// NIST's `StRD`, Wampler1 to Wampler5: polynomials of the fifth degree at x = 0..20. The condition of their normal
/// equations is about 1e13 as they stand; with x in units of its largest value six certified digits must come out where
/// the residuals are small, four and two where NIST makes them a hundred and ten thousand times larger. If this fails, the solver loses digits that it need not lose.
#[test]
fn wampler_meets_the_certified_values_in_scaled_columns() {
    let oracle = oracle();
    for (set, digits) in oracle["wampler"]
        .as_array()
        .expect("sets")
        .iter()
        .zip([6.0, 6.0, 6.0, 4.0, 2.0])
    {
        let (x, y) = (list(&set["x"]), list(&set["y"]));
        let powers: Vec<Vec<f64>> = (0..6)
            .map(|power| x.iter().map(|x| (x / 20.0).powi(power)).collect())
            .collect();
        let (mut found, _) = solve(&powers, &y).expect("positive definite");
        for (power, value) in (0..).zip(&mut found) {
            *value /= 20.0_f64.powi(power);
        }
        let off = off(&found, &list(&set["certified"]));
        assert!(off < 10.0_f64.powf(-digits), "{off}");
    }
}

/// NIST's `StRD`, Longley: the condition of the normal equations as they stand is about 1e19, more than double precision
/// holds, so they must be refused or useless there; with centred columns of one length the certified values come out.
/// (Filip, a polynomial of the tenth degree near x = -8, has about 1e30 and no scaling saves normal equations.)
#[test]
fn longley_meets_the_certified_values_in_centred_columns() {
    let oracle = oracle();
    let (x, y) = (
        columns(&oracle["longley"]["x"]),
        list(&oracle["longley"]["y"]),
    );
    let certified = list(&oracle["longley"]["certified"]);
    let mean = |column: &[f64]| column.iter().sum::<f64>() / column.len() as f64;
    let means: Vec<f64> = x.iter().map(|column| mean(column)).collect();
    let centred = x.iter().zip(&means).map(|(column, mean)| {
        column
            .iter()
            .map(|value| value - mean)
            .collect::<Vec<f64>>()
    });
    let centred: Vec<Vec<f64>> = centred.collect();
    let length: Vec<f64> = centred
        .iter()
        .map(|column| dot(column, column).sqrt())
        .collect();
    let scaled = centred.iter().zip(&length).map(|(column, length)| {
        column
            .iter()
            .map(|value| value / length)
            .collect::<Vec<f64>>()
    });
    let scaled: Vec<Vec<f64>> = scaled.collect();
    let (mut found, _) = solve(&scaled, &y).expect("positive definite");
    for (value, length) in found.iter_mut().zip(&length) {
        *value /= length;
    }
    let intercept = mean(&y) - dot(&found, &means);
    found.insert(0, intercept);
    let off = off(&found, &certified);
    assert!(off < 1e-8, "{off}");
}

/// Iteratively weighted least squares with the fit's Huber weights (k over the standardised size, 1 at the most) must
/// end where statsmodels' RLM ends on stack loss (Brownlee 1965), k = 1.345, scale by the median absolute deviation.
#[test]
fn huber_weights_on_stack_loss_meet_another_library() {
    let oracle = &oracle()["stack_loss"];
    let (x, y) = (columns(&oracle["x"]), list(&oracle["y"]));
    let wanted = list(&oracle["huber"]);
    let mut weights = vec![1.0; y.len()];
    let mut found = Vec::new();
    for _ in 0..200 {
        let noise = Noise {
            block: 1.0,
            ..Noise::default()
        };
        let mut whitening = Whitening::default();
        // Rows that follow nothing are whitened by their weight alone.
        whitening.prepare(
            &noise,
            weights.iter().map(|&weight| RowNoise {
                steps: None,
                blocks: 1.0,
                weight,
            }),
        );
        let whitened = |column: &[f64]| {
            let mut column = column.to_vec();
            whiten(&mut column, &whitening.memory, &whitening.scale);
            column
        };
        let whitened_x: Vec<Vec<f64>> = x.iter().map(|column| whitened(column)).collect();
        found = solve(&whitened_x, &whitened(&y))
            .expect("positive definite")
            .0;
        let residual: Vec<f64> = (0..y.len())
            .map(|row| {
                y[row]
                    - (0..x.len())
                        .map(|column| found[column] * x[column][row])
                        .sum::<f64>()
            })
            .collect();
        let mut sizes: Vec<f64> = residual.iter().map(|value| value.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let scale = sizes[sizes.len() / 2] / 0.674_489_750_196_082;
        for (weight, value) in weights.iter_mut().zip(&residual) {
            *weight = (1.345 * scale / value.abs()).min(1.0);
        }
    }
    assert!(off(&found, &wanted) < 1e-6, "{found:?} {wanted:?}");
    let off = off(&weights, &list(&oracle["huber_weights"]));
    assert!(off < 1e-6, "{off}");
}

/// Returns the whitening of `count` rows, one step apart, that are correlated so from one to the next.
fn whitening_of(correlation: f64, count: usize) -> Whitening {
    let noise = Noise {
        block: 1.0,
        correlation,
        ..Noise::default()
    };
    let mut whitening = Whitening::default();
    let rows = (0..count).map(|row| RowNoise {
        steps: (row > 0).then_some(1.0),
        blocks: 1.0,
        weight: 1.0,
    });
    whitening.prepare(&noise, rows);
    whitening
}

/// The whitening of a correlated series must give the generalised least squares of its exact covariance, on the log of
/// consumption against the log of product, 203 quarters (statsmodels' GLS with r^|i-j|, r = 0.9). Cochrane and Orcutt
/// drop the first row and estimate r: their answer is another, but near.
#[test]
fn whitening_meets_generalised_least_squares_on_the_macro_series() {
    let oracle = &oracle()["macro"];
    let (x, y) = (columns(&oracle["x"]), list(&oracle["y"]));
    let correlation = oracle["rho"].as_f64().expect("a number");
    let whitening = whitening_of(correlation, y.len());
    let whitened = |column: &[f64]| {
        let mut column = column.to_vec();
        whiten(&mut column, &whitening.memory, &whitening.scale);
        column
    };
    let whitened_x: Vec<Vec<f64>> = x.iter().map(|column| whitened(column)).collect();
    let (found, _) = solve(&whitened_x, &whitened(&y)).expect("positive definite");
    assert!(off(&found, &list(&oracle["gls_exact"])) < 1e-8, "{found:?}");
    let determinant = oracle["gls_exact_ln_det"].as_f64().expect("a number");
    assert!((-2.0 * whitening.ln_scale() / determinant - 1.0).abs() < 1e-8);
    // Ordinary least squares, whose standard errors take the quarters for independent.
    let (ordinary, inverse) = solve(&x, &y).expect("positive definite");
    assert!(off(&ordinary, &list(&oracle["ols"])) < 1e-8);
    let left: f64 = (0..y.len())
        .map(|row| (y[row] - ordinary[0] - ordinary[1] * x[1][row]).powi(2))
        .sum();
    let error = (left / (y.len() - 2) as f64 * inverse.get(1, 1)).sqrt();
    assert!((error / list(&oracle["ols_se"])[1] - 1.0).abs() < 1e-7);
    // Newey and West (1987) with four lags: about twice that, as the fit's own noise model must say too.
    let newey_west = list(&oracle["newey_west_se_4"])[1];
    assert!(newey_west > 1.5 * error, "{newey_west} {error}");
}

/// The whitening, with the first quarter dropped and the correlation estimated from the residuals again and again, must
/// end where statsmodels' GLSAR ends: the procedure of Cochrane and Orcutt (1949). If this fails, a row that follows
/// another is whitened otherwise than by the row before it.
#[test]
fn whitening_meets_cochrane_and_orcutt_on_the_macro_series() {
    let oracle = &oracle()["macro"];
    let (x, y) = (columns(&oracle["x"]), list(&oracle["y"]));
    let mut correlation = 0.0;
    let mut found = Vec::new();
    for _ in 0..200 {
        let whitening = whitening_of(correlation, y.len());
        let whitened = |column: &[f64]| {
            let mut column = column.to_vec();
            whiten(&mut column, &whitening.memory, &whitening.scale);
            column.split_off(1)
        };
        let whitened_x: Vec<Vec<f64>> = x.iter().map(|column| whitened(column)).collect();
        found = solve(&whitened_x, &whitened(&y))
            .expect("positive definite")
            .0;
        let residual: Vec<f64> = (0..y.len())
            .map(|row| y[row] - found[0] * x[0][row] - found[1] * x[1][row])
            .collect();
        // GLSAR estimates it by Yule and Walker, from residuals less their mean, each sum over its own count.
        let mean = residual.iter().sum::<f64>() / residual.len() as f64;
        let residual: Vec<f64> = residual.iter().map(|value| value - mean).collect();
        let count = residual.len() as f64;
        let (before, after) = (&residual[..y.len() - 1], &residual[1..]);
        correlation = dot(before, after) / (count - 1.0) / (dot(&residual, &residual) / count);
    }
    let wanted = oracle["cochrane_orcutt_rho"].as_f64().expect("a number");
    assert!(
        (correlation / wanted - 1.0).abs() < 1e-6,
        "{correlation} {wanted}"
    );
    assert!(
        off(&found, &list(&oracle["cochrane_orcutt"])) < 1e-6,
        "{found:?}"
    );
}
