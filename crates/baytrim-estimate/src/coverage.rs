//! Which nodes were visited, how often and for how long.

use baytrim_model::pull::NodeCoverage;

/// Away from a node for so long, the next time on it is another visit.
const AWAY_S: f64 = 1.5;
/// Weight below which a reading does not count as being on a node.
const SHARE_MIN: f64 = 0.2;
/// Seconds of weight from which a stay counts as a visit.
const STAY_S_MIN: f64 = 0.1;

#[derive(Debug, Clone, Copy)]
struct Stay {
    last_seen_s: f64,
    weight_s: f64,
    counted: bool,
}

/// Dwell and visits of every node.
#[derive(Debug, Clone)]
pub struct Coverage {
    nodes: Vec<NodeCoverage>,
    stays: Vec<Stay>,
}

impl Coverage {
    /// Returns the coverage of nothing for a table of `node_count` nodes.
    pub fn new(node_count: usize) -> Self {
        let away = Stay {
            last_seen_s: f64::NEG_INFINITY,
            weight_s: 0.0,
            counted: false,
        };
        Self {
            nodes: vec![NodeCoverage::default(); node_count],
            stays: vec![away; node_count],
        }
    }

    /// Adds an accepted reading at `offset_s` that stands for `step_s` seconds.
    pub fn add(&mut self, offset_s: f64, step_s: f64, footprint: impl Iterator<Item = (u32, f64)>) {
        for (node, share) in footprint {
            // The outer nodes of a smooth surface can have weights a little below zero.
            let share = share.max(0.0);
            let covered = &mut self.nodes[node as usize];
            covered.dwell_s += share * step_s;
            if share < SHARE_MIN {
                continue;
            }
            let stay = &mut self.stays[node as usize];
            if offset_s - stay.last_seen_s > AWAY_S.max(2.0 * step_s) {
                (stay.weight_s, stay.counted) = (0.0, false);
            }
            stay.last_seen_s = offset_s;
            stay.weight_s += share * step_s;
            if !stay.counted && stay.weight_s >= STAY_S_MIN {
                stay.counted = true;
                covered.visits += 1;
            }
        }
    }

    /// Returns the coverage in node order.
    pub fn nodes(&self) -> &[NodeCoverage] {
        &self.nodes
    }
}

#[cfg(test)]
mod tests {
    use super::Coverage;

    /// One long stay must not pass for many independent visits.
    #[test]
    fn a_stay_is_one_visit_until_it_was_left() {
        let mut coverage = Coverage::new(1);
        for row in 0..1000 {
            coverage.add(f64::from(row) * 0.01, 0.01, std::iter::once((0, 0.5)));
        }
        assert_eq!(coverage.nodes()[0].visits, 1);
        assert!((coverage.nodes()[0].dwell_s - 5.0).abs() < 1e-9);
        for row in 0..100 {
            coverage.add(
                15.0 + f64::from(row) * 0.01,
                0.01,
                std::iter::once((0, 0.5)),
            );
        }
        assert_eq!(coverage.nodes()[0].visits, 2);
    }
}
