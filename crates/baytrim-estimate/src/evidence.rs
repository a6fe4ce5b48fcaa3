//! What one pull says about all nodes, kept so that any later fit can weigh it anew.
//!
//! The model is linear in theta, so the mean of the readings of a short block equals the mean of
//! their footprints times theta: blocks lose nothing but what the sensor's lag had lost before.
//! Noise, offsets, film and prior are estimated over blocks of all pulls at each fit, without a pass
//! over samples.

use baytrim_model::pull::NodeCoverage;
use serde::{Deserialize, Serialize};

use crate::film::FILM_TERMS;

/// Version of the layout, for evidence that was stored.
pub const EVIDENCE_VERSION: u16 = 2;

/// A mean of readings over a short time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Block {
    /// Middle of the block, seconds since the pull began.
    pub mid_s: f32,
    /// Seconds of readings in it.
    pub length_s: f32,
    /// Mean log fuel need.
    pub need: f32,
    /// Standard deviation of the readings within the block.
    pub spread: f32,
    /// Mean delay and lag between the making of the exhaust and the reading, seconds.
    pub delay_s: f32,
    /// Mean film regressors.
    pub film: [f32; FILM_TERMS],
    /// Whether the block does not follow the one before without a break.
    pub begins: bool,
    /// Number of nodes in its footprint.
    pub nodes: u16,
}

/// What one pull says about all nodes.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct PullEvidence {
    pub(crate) version: u16,
    pub(crate) node_count: u32,
    /// Standard deviation of the delay's error, as a share of the delay.
    pub(crate) delay_error: f32,
    pub(crate) blocks: Vec<Block>,
    /// Footprints of all blocks, one after the other.
    pub(crate) footprint: Vec<(u16, f32)>,
    pub(crate) dwell_s: Vec<f32>,
    pub(crate) visits: Vec<u32>,
}

impl PullEvidence {
    /// Returns the number of nodes of the table that it speaks about.
    pub fn node_count(&self) -> usize {
        self.node_count as usize
    }

    /// Returns the number of blocks.
    pub fn block_count(&self) -> usize {
        self.blocks.len()
    }

    /// Returns about how many bytes of memory it takes.
    pub fn memory_bytes(&self) -> usize {
        size_of::<Self>()
            + size_of_val(&self.blocks[..])
            + size_of_val(&self.footprint[..])
            + size_of_val(&self.dwell_s[..])
            + size_of_val(&self.visits[..])
    }

    /// Returns the coverage of each node, in node order.
    pub fn coverage(&self) -> impl Iterator<Item = NodeCoverage> + '_ {
        self.dwell_s
            .iter()
            .zip(&self.visits)
            .map(|(&dwell_s, &visits)| NodeCoverage {
                dwell_s: f64::from(dwell_s),
                visits,
            })
    }

    /// Returns the blocks with their footprints.
    pub(crate) fn blocks(&self) -> impl Iterator<Item = (&Block, &[(u16, f32)])> {
        let mut start = 0;
        self.blocks.iter().map(move |block| {
            let end = start + usize::from(block.nodes);
            let footprint = &self.footprint[start..end];
            start = end;
            (block, footprint)
        })
    }

    /// Returns whether lengths, node numbers and values fit together, as a stored blob might not.
    pub(crate) fn is_sound(&self) -> bool {
        let entries: usize = self
            .blocks
            .iter()
            .map(|block| usize::from(block.nodes))
            .sum();
        let nodes = self.node_count();
        self.version == EVIDENCE_VERSION
            && self.delay_error.is_finite()
            && self.delay_error >= 0.0
            && entries == self.footprint.len()
            && self.dwell_s.len() == nodes
            && self.visits.len() == nodes
            && self
                .footprint
                .iter()
                .all(|&(node, share)| usize::from(node) < nodes && share.is_finite())
            && self.blocks.iter().all(|block| {
                block.need.is_finite()
                    && block.mid_s.is_finite()
                    && block.length_s > 0.0
                    && block.spread.is_finite()
                    && block.delay_s.is_finite()
                    && block.film.iter().all(|term| term.is_finite())
            })
    }
}
