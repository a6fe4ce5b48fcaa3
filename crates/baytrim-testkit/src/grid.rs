//! How an engine controller reads a table between its nodes.

use baytrim_model::axis::Axes;

/// Four nodes with the weights of a point between them; the weights sum to 1.
pub type Corner = [(usize, f64); 4];

/// Returns the index below `value` and the share of the next one, held at the ends of the axis.
fn locate(breakpoints: &[f64], value: f64) -> (usize, f64) {
    let last_cell = breakpoints.len() - 2;
    let cell = breakpoints[1..=last_cell]
        .iter()
        .take_while(|&&breakpoint| breakpoint <= value)
        .count();
    let (low, high) = (breakpoints[cell], breakpoints[cell + 1]);
    (cell, ((value - low) / (high - low)).clamp(0.0, 1.0))
}

/// Returns the bilinear (hat) weights of a point; beyond the table's edge the edge holds.
pub fn hat_weights(axes: &Axes, rpm: f64, plate_percent: f64) -> Corner {
    let (i, u) = locate(axes.rpm.breakpoints(), rpm);
    let (j, w) = locate(axes.plate_percent.breakpoints(), plate_percent);
    [
        (axes.node(i, j), (1.0 - u) * (1.0 - w)),
        (axes.node(i + 1, j), u * (1.0 - w)),
        (axes.node(i, j + 1), (1.0 - u) * w),
        (axes.node(i + 1, j + 1), u * w),
    ]
}

/// Returns the table's value at a corner, `values` being in node order.
pub fn read(values: &[f64], corner: &Corner) -> f64 {
    corner
        .iter()
        .map(|&(node, weight)| weight * values[node])
        .sum()
}

#[cfg(test)]
mod tests {
    use baytrim_model::axis::{Axes, Axis};

    use super::{hat_weights, read};

    /// The simulated controller would load another table than the one it was given.
    #[test]
    fn a_bilinear_function_is_read_exactly() {
        let axes = Axes {
            rpm: Axis::new("rpm", vec![1000.0, 2000.0, 4000.0]).expect("increasing"),
            plate_percent: Axis::new("plate", vec![0.0, 10.0, 50.0, 100.0]).expect("increasing"),
        };
        let f = |rpm: f64, plate: f64| 3.0 + 0.002 * rpm - 0.01 * plate + 1e-5 * rpm * plate;
        let values: Vec<f64> = (0..axes.node_count())
            .map(|node| {
                let (rpm, plate) = axes.position(node);
                f(rpm, plate)
            })
            .collect();
        for (rpm, plate) in [
            (1000.0, 0.0),
            (1500.0, 7.0),
            (4000.0, 100.0),
            (3999.0, 30.0),
        ] {
            let got = read(&values, &hat_weights(&axes, rpm, plate));
            assert!((got - f(rpm, plate)).abs() < 1e-9, "{rpm} {plate}");
        }
        let outside = read(&values, &hat_weights(&axes, 500.0, 120.0));
        assert!((outside - f(1000.0, 100.0)).abs() < 1e-9);
    }
}
