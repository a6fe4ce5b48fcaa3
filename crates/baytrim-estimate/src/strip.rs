//! Counts what the gates accepted and refused, in all and over time, in constant memory.

use baytrim_model::gate::GateName;
use baytrim_model::pull::GateCount;

/// Spans of time that are kept; when they are full, neighbours merge and spans double.
const SPANS: usize = 1024;
/// First length of a span, seconds.
const SPAN_S: f64 = 0.05;
/// Entries of the strip that is reported.
const STRIP: usize = 60;
const GATES: usize = GateName::ALL.len();

/// What the gates made of the rows.
#[derive(Debug, Clone)]
pub(crate) struct Tally {
    sample_count: u64,
    first_s: f64,
    last_s: f64,
    accepted_count: u64,
    accepted_s: f64,
    refused: [(u64, f64); GATES],
    span_s: f64,
    /// Seconds by gate, the last entry for accepted ones.
    spans: Vec<[f32; GATES + 1]>,
}

impl Default for Tally {
    fn default() -> Self {
        Self {
            sample_count: 0,
            first_s: f64::NAN,
            last_s: f64::NAN,
            accepted_count: 0,
            accepted_s: 0.0,
            refused: [(0, 0.0); GATES],
            span_s: SPAN_S,
            spans: Vec::new(),
        }
    }
}

fn index_of(gate: GateName) -> usize {
    GateName::ALL
        .iter()
        .position(|&name| name == gate)
        .unwrap_or(0)
}

impl Tally {
    /// Adds a row that stands for `step_s` seconds.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "the strip needs no more than f32"
    )]
    #[expect(clippy::cast_sign_loss, reason = "clamped to be positive")]
    pub(crate) fn add(&mut self, offset_s: f64, step_s: f64, refused_by: Option<GateName>) {
        self.sample_count += 1;
        let slot = if let Some(gate) = refused_by {
            let slot = index_of(gate);
            self.refused[slot].0 += 1;
            self.refused[slot].1 += step_s;
            slot
        } else {
            self.accepted_count += 1;
            self.accepted_s += step_s;
            GATES
        };
        if !offset_s.is_finite() {
            return;
        }
        if self.first_s.is_nan() {
            self.first_s = offset_s;
        }
        self.last_s = offset_s;
        let mut span = ((offset_s - self.first_s) / self.span_s).max(0.0);
        while span >= SPANS as f64 {
            self.merge();
            span = ((offset_s - self.first_s) / self.span_s).max(0.0);
        }
        let span = span as usize;
        if self.spans.len() <= span {
            self.spans.resize(span + 1, [0.0; GATES + 1]);
        }
        self.spans[span][slot] += step_s as f32;
    }

    fn merge(&mut self) {
        self.span_s *= 2.0;
        self.spans = self
            .spans
            .chunks(2)
            .map(|pair| {
                let mut sum = pair[0];
                for other in &pair[1..] {
                    for (left, right) in sum.iter_mut().zip(other) {
                        *left += right;
                    }
                }
                sum
            })
            .collect();
    }

    /// Returns the number of rows.
    pub(crate) fn sample_count(&self) -> u64 {
        self.sample_count
    }

    /// Returns the number of accepted rows.
    pub(crate) fn accepted_count(&self) -> u64 {
        self.accepted_count
    }

    /// Returns the seconds of accepted rows.
    pub(crate) fn accepted_s(&self) -> f64 {
        self.accepted_s
    }

    /// Returns what each gate refused, in the order of [`GateName::ALL`], without idle gates.
    pub(crate) fn refused(&self) -> Vec<GateCount> {
        GateName::ALL
            .iter()
            .zip(&self.refused)
            .filter(|(_, (count, _))| *count > 0)
            .map(|(&gate, &(sample_count, refused_s))| GateCount {
                gate,
                sample_count,
                refused_s,
            })
            .collect()
    }

    /// Returns 60 equal spans of the pull, each with the gate that refused most of it.
    pub(crate) fn strip(&self) -> Vec<Option<GateName>> {
        let span_count = self.spans.len();
        (0..STRIP)
            .map(|entry| {
                let start = entry * span_count / STRIP;
                let end = ((entry + 1) * span_count).div_ceil(STRIP).min(span_count);
                let mut sum = [0.0_f32; GATES + 1];
                for span in self.spans.get(start..end).unwrap_or_default() {
                    for (left, right) in sum.iter_mut().zip(span) {
                        *left += right;
                    }
                }
                let refused: f32 = sum[..GATES].iter().sum();
                let worst = (0..GATES).max_by(|&a, &b| sum[a].total_cmp(&sum[b]))?;
                (refused > sum[GATES]).then_some(GateName::ALL[worst])
            })
            .collect()
    }
}
