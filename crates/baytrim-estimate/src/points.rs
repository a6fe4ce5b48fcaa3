//! Where and what the readings of a pull were, for a chart.
//!
//! The weights of a footprint add up to one and keep straight lines straight, so that the weighted mean of
//! its nodes' places is the place where the exhaust was made: the delay is taken off already.
//! At that place a need theta reads lambda = target exp(theta - trim), controller's trims taken out.

use baytrim_model::axis::Axes;

use crate::evidence::PullEvidence;
use crate::surface::compress_plate;

/// A short mean of accepted readings with the place where their exhaust was made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LambdaPoint {
    /// Middle of the readings, seconds since the pull began.
    pub offset_s: f64,
    /// Seconds of readings.
    pub length_s: f64,
    /// Engine speed at which the exhaust was made.
    pub rpm: f64,
    /// Plate opening at which it was made, percent.
    pub plate_percent: f64,
    /// Lambda with the table that was loaded; a controller's own trims are taken out.
    pub lambda: f64,
}

/// Returns the accepted readings of a pull, about five a second.
///
/// `log_trim` is ln(fuel in force / fuel of the base table) and `target_lambda` lambda wanted, both in node
/// order. Evidence that does not fit the axes has no points.
pub fn lambda_points(
    evidence: &PullEvidence,
    axes: &Axes,
    log_trim: &[f64],
    target_lambda: &[f64],
) -> Vec<LambdaPoint> {
    let nodes = axes.node_count();
    let fits = evidence.node_count() == nodes
        && log_trim.len() == nodes
        && target_lambda.len() == nodes
        && evidence.is_sound();
    if !fits {
        return Vec::new();
    }
    let points = evidence.blocks().map(|(block, footprint)| {
        let (mut weight, mut rpm, mut plate, mut richness) = (0.0, 0.0, 0.0, 0.0);
        for &(node, share) in footprint {
            let (node, share) = (usize::from(node), f64::from(share));
            let (node_rpm, node_plate) = axes.position(node);
            weight += share;
            rpm += share * node_rpm;
            plate += share * compress_plate(node_plate);
            richness += share * (log_trim[node].exp() / target_lambda[node]);
        }
        LambdaPoint {
            offset_s: f64::from(block.mid_s),
            length_s: f64::from(block.length_s),
            rpm: rpm / weight,
            plate_percent: ((plate / weight).powi(2) - 1.0).max(0.0),
            lambda: f64::from(block.need).exp() * weight / richness,
        }
    });
    points.filter(|point| point.lambda.is_finite()).collect()
}
