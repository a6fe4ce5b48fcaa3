//! The yardstick: every reading goes whole to the nearest node, and each node takes the mean.
//!
//! Common practice, kept for comparison in benches. It knows neither delay nor lag nor neighbours.

use baytrim_model::axis::Axis;
use baytrim_model::samples::Samples;

use crate::context::PullContext;
use crate::frame::Frame;
use crate::gate::GateLine;
use crate::read::ReadError;
use crate::row::Columns;

/// Sums of readings by node.
#[derive(Debug, Clone, PartialEq)]
pub struct NearestNode {
    sum: Vec<f64>,
    count: Vec<u64>,
}

fn nearest(axis: &Axis, value: f64) -> usize {
    let points = axis.breakpoints();
    let far = |index: usize| (points[index] - value).abs();
    (0..points.len())
        .min_by(|&a, &b| far(a).total_cmp(&far(b)))
        .unwrap_or(0)
}

impl NearestNode {
    /// Returns sums of nothing for a table of `node_count` nodes.
    pub fn new(node_count: usize) -> Self {
        Self {
            sum: vec![0.0; node_count],
            count: vec![0; node_count],
        }
    }

    /// Adds a pull; with `settled` only rows that the gates of `context` accept, otherwise every row
    /// with a reading that the sensor's range, the overrun gate and the shift gate accept.
    ///
    /// # Errors
    /// When a per-node list of `context` does not fit its axes.
    pub fn add(
        &mut self,
        samples: &Samples,
        context: &PullContext<'_>,
        settled: bool,
    ) -> Result<(), ReadError> {
        let frame = Frame::new(context)?;
        let axes = &frame.axes;
        let columns = Columns::new(samples);
        let mut gates = frame.gates.clone();
        if settled {
            gates.plate_rate_percent_per_s_max = 10.0;
            gates.settle_s = 1.5;
        } else {
            gates.plate_rate_percent_per_s_max = 1e9;
            gates.settle_s = 0.0;
            gates.recovery_s = 0.0;
        }
        let mut line = GateLine::new(&gates, frame.evidence);
        for row in 0..=columns.len() {
            let finished = row == columns.len();
            if !finished {
                line.push(axes, columns.row(row));
            }
            while let Some(judged) = line.pop(finished) {
                if judged.refused_by.is_some() {
                    continue;
                }
                let row = judged.row;
                let node = axes.node(
                    nearest(&axes.rpm, row.rpm),
                    nearest(&axes.plate_percent, row.plate_percent),
                );
                self.sum[node] += frame.need(&row, &judged.hat);
                self.count[node] += 1;
            }
        }
        Ok(())
    }

    /// Returns the mean log fuel need of each node; none where no reading fell.
    pub fn theta(&self) -> Vec<Option<f64>> {
        self.sum
            .iter()
            .zip(&self.count)
            .map(|(sum, &count)| (count > 0).then(|| sum / count as f64))
            .collect()
    }
}
