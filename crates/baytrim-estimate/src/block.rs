//! Gathers accepted readings into blocks.

use crate::coverage::Coverage;
use crate::evidence::{Block, EVIDENCE_VERSION, PullEvidence};
use crate::film::FILM_TERMS;

/// Seconds of a block: about two time constants of the sensor, so that blocks lose nothing.
const BLOCK_S: f64 = 0.2;
/// Longest block while a reading stands still, seconds: held values are one reading.
const HELD_S_MAX: f64 = 2.0;
/// The same for a log with several rows a block, where a still reading is a steady engine.
const STEADY_S_MAX: f64 = 0.5;
/// Shares below this are left out of a block's footprint.
const SHARE_MIN: f64 = 4e-3;

/// One accepted reading.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reading {
    pub(crate) offset_s: f64,
    pub(crate) step_s: f64,
    pub(crate) need: f64,
    pub(crate) film: [f64; FILM_TERMS],
    /// Delay and lag of the gas being made, seconds.
    pub(crate) delay_s: f64,
    /// Whether the sensor's value differs from the row before.
    pub(crate) fresh: bool,
}

/// Gathers readings.
#[derive(Debug, Clone)]
pub(crate) struct Blocks {
    evidence: PullEvidence,
    start_s: f64,
    end_s: f64,
    rows: u32,
    weight_s: f64,
    need: f64,
    need_square: f64,
    delay_s: f64,
    film: [f64; FILM_TERMS],
    share: Vec<f64>,
    touched: Vec<u16>,
    begins: bool,
}

impl Blocks {
    pub(crate) fn new(node_count: usize) -> Self {
        Self {
            evidence: PullEvidence {
                version: EVIDENCE_VERSION,
                node_count: u32::try_from(node_count).unwrap_or(u32::MAX),
                ..PullEvidence::default()
            },
            start_s: 0.0,
            end_s: 0.0,
            rows: 0,
            weight_s: 0.0,
            need: 0.0,
            need_square: 0.0,
            delay_s: 0.0,
            film: [0.0; FILM_TERMS],
            share: vec![0.0; node_count],
            touched: Vec::new(),
            begins: true,
        }
    }

    /// Ends the block and says that the next one does not follow from it.
    pub(crate) fn interrupt(&mut self) {
        self.close();
        self.begins = true;
    }

    pub(crate) fn add(&mut self, reading: &Reading, footprint: impl Iterator<Item = (u32, f64)>) {
        if self.rows > 0 {
            let span_s = self.end_s - self.start_s;
            let held_s_max = if self.rows >= 4 {
                STEADY_S_MAX
            } else {
                HELD_S_MAX
            };
            let full =
                span_s >= BLOCK_S - 0.5 * reading.step_s && (reading.fresh || span_s >= held_s_max);
            if full {
                self.close();
            }
        }
        if self.rows == 0 {
            self.start_s = reading.offset_s - reading.step_s;
        }
        self.rows += 1;
        self.end_s = reading.offset_s;
        let step_s = reading.step_s.max(1e-4);
        self.weight_s += step_s;
        self.need += reading.need * step_s;
        self.delay_s += reading.delay_s * step_s;
        self.need_square += reading.need * reading.need * step_s;
        for (sum, term) in self.film.iter_mut().zip(reading.film) {
            *sum += term * step_s;
        }
        for (node, share) in footprint {
            let slot = &mut self.share[node as usize];
            if *slot == 0.0
                && let Ok(node) = u16::try_from(node)
            {
                self.touched.push(node);
            }
            *slot += share * step_s;
        }
    }

    #[expect(clippy::cast_possible_truncation, reason = "blocks are stored as f32")]
    fn close(&mut self) {
        if self.rows == 0 {
            return;
        }
        self.touched.sort_unstable();
        let floor = SHARE_MIN * self.weight_s;
        let kept: f64 = self
            .touched
            .iter()
            .map(|&node| self.share[usize::from(node)])
            .filter(|share| share.abs() > floor)
            .sum();
        let mut nodes = 0;
        for &node in &self.touched {
            let slot = &mut self.share[usize::from(node)];
            if slot.abs() > floor {
                self.evidence.footprint.push((node, (*slot / kept) as f32));
                nodes += 1;
            }
            *slot = 0.0;
        }
        self.touched.clear();
        let need = self.need / self.weight_s;
        let variance = self.need_square / self.weight_s - need * need;
        self.evidence.blocks.push(Block {
            mid_s: (0.5 * (self.start_s + self.end_s)) as f32,
            length_s: self.weight_s as f32,
            need: need as f32,
            spread: variance.max(0.0).sqrt() as f32,
            film: self.film.map(|sum| (sum / self.weight_s) as f32),
            delay_s: (self.delay_s / self.weight_s) as f32,
            begins: self.begins,
            nodes,
        });
        self.begins = false;
        self.rows = 0;
        (self.weight_s, self.need, self.need_square) = (0.0, 0.0, 0.0);
        self.film = [0.0; FILM_TERMS];
        self.delay_s = 0.0;
    }

    /// Ends the last block and returns the evidence.
    #[expect(clippy::cast_possible_truncation, reason = "coverage is stored as f32")]
    pub(crate) fn finish(mut self, coverage: &Coverage, delay_error: f64) -> PullEvidence {
        self.close();
        self.evidence.delay_error = delay_error as f32;
        self.evidence.dwell_s = coverage
            .nodes()
            .iter()
            .map(|node| node.dwell_s as f32)
            .collect();
        self.evidence.visits = coverage.nodes().iter().map(|node| node.visits).collect();
        self.evidence
    }
}
