//! Notes what becomes of every row of a log, as seen from one node.

use baytrim_model::channel::EvidenceKind;
use baytrim_model::gate::GateName;

use crate::frame::Frame;
use crate::row::Row;
use crate::surface::{Spread, compress_plate};
use crate::trace::{LogTrace, NodeRefusal, RowSpan, SamplePoint};

/// Least share of a row that makes it one of the node's.
const SHARE_MIN: f64 = 0.05;
/// Most spans of rows that are listed.
const SPANS_MAX: usize = 200;

/// Watches a node.
#[derive(Debug, Clone)]
pub(crate) struct Witness {
    node: usize,
    points_max: usize,
    row: u64,
    /// Of the node's rows, one in so many is kept as a point.
    stride: u64,
    near: u64,
    refused_s: Vec<(GateName, u64, f64)>,
    spans: Vec<RowSpan>,
    open: Option<RowSpan>,
    points: Vec<SamplePoint>,
    dwell_s: f64,
    last_s: f64,
}

impl Witness {
    /// Returns a witness of `node` that keeps at most `points_max` points.
    pub(crate) fn new(node: usize, points_max: usize) -> Self {
        Self {
            node,
            points_max,
            row: 0,
            stride: 1,
            near: 0,
            refused_s: Vec::new(),
            spans: Vec::new(),
            open: None,
            points: Vec::new(),
            dwell_s: 0.0,
            last_s: f64::NAN,
        }
    }

    /// Counts a row that has no place in time.
    pub(crate) fn skip(&mut self) {
        self.close();
        self.row += 1;
    }

    /// Takes an accepted row, read as a mixture that would have the log richness `ln_richness` if the base table
    /// were right.
    pub(crate) fn accepted(
        &mut self,
        frame: &Frame,
        row: &Row,
        step_s: f64,
        ln_richness: f64,
        footprint: impl Iterator<Item = (u32, f64)>,
    ) {
        let (mut share, mut rpm, mut plate) = (0.0, 0.0, 0.0);
        for (node, part) in footprint {
            let (node_rpm, node_plate) = frame.axes.position(node as usize);
            rpm += part * node_rpm;
            plate += part * compress_plate(node_plate);
            if node as usize == self.node {
                share = part.max(0.0);
            }
        }
        self.dwell_s += share * step_s;
        if share >= SHARE_MIN {
            let response = match frame.evidence {
                EvidenceKind::Trims => row.closed_loop_factor,
                EvidenceKind::Lambda | EvidenceKind::LambdaAndTrims => row.lambda,
            };
            self.extend(row.offset_s, share * step_s);
            self.point(SamplePoint {
                row: self.row,
                offset_s: row.offset_s,
                rpm,
                plate_percent: (plate * plate - 1.0).max(0.0),
                lambda: row.lambda,
                share,
                need: response.ln() + ln_richness,
                refused_by: None,
            });
        } else {
            self.close();
        }
        self.row += 1;
        self.last_s = row.offset_s;
    }

    /// Takes a row that `gate` refused; `spread` says where the engine ran.
    pub(crate) fn refused(
        &mut self,
        row: &Row,
        step_s: f64,
        gate: GateName,
        spread: Option<&Spread>,
    ) {
        self.close();
        let entries = spread.map(|spread| spread.node.iter().zip(spread.weight));
        let own = entries.into_iter().flatten();
        let own = own.filter(|(node, _)| **node as usize == self.node);
        let share: f64 = own.map(|(_, weight)| weight).sum();
        if share >= SHARE_MIN {
            match self.refused_s.iter_mut().find(|(name, ..)| *name == gate) {
                Some((_, count, seconds)) => {
                    *count += 1;
                    *seconds += share * step_s;
                }
                None => self.refused_s.push((gate, 1, share * step_s)),
            }
            self.point(SamplePoint {
                row: self.row,
                offset_s: row.offset_s,
                rpm: row.rpm,
                plate_percent: row.plate_percent,
                lambda: row.lambda,
                share,
                need: f64::NAN,
                refused_by: Some(gate),
            });
        }
        self.row += 1;
        self.last_s = row.offset_s;
    }

    fn extend(&mut self, offset_s: f64, weight_s: f64) {
        let span = self.open.get_or_insert(RowSpan {
            first_row: self.row,
            last_row: self.row,
            start_s: offset_s,
            end_s: offset_s,
            weight_s: 0.0,
        });
        span.last_row = self.row;
        span.end_s = offset_s;
        span.weight_s += weight_s;
    }

    fn close(&mut self) {
        self.spans.extend(self.open.take());
    }

    fn point(&mut self, point: SamplePoint) {
        self.near += 1;
        if self.points_max == 0 || !(self.near - 1).is_multiple_of(self.stride) {
            return;
        }
        self.points.push(point);
        if self.points.len() > self.points_max {
            let mut place = 0;
            self.points.retain(|_| {
                place += 1;
                place % 2 == 1
            });
            self.stride *= 2;
        }
    }

    /// Returns what was noted.
    pub(crate) fn finish(mut self) -> LogTrace {
        self.close();
        let span_count = self.spans.len();
        if span_count > SPANS_MAX {
            self.spans.sort_by(|a, b| b.weight_s.total_cmp(&a.weight_s));
            self.spans.truncate(SPANS_MAX);
            self.spans.sort_by_key(|span| span.first_row);
        }
        let order = |name: &GateName| GateName::ALL.iter().position(|gate| gate == name);
        self.refused_s.sort_by_key(|(name, ..)| order(name));
        let refused = self.refused_s.into_iter();
        LogTrace {
            dwell_s: self.dwell_s,
            row_count: self.row,
            refused: refused
                .map(|(gate, sample_count, weight_s)| NodeRefusal {
                    gate,
                    sample_count,
                    weight_s,
                })
                .collect(),
            span_count,
            spans: self.spans,
            point_stride: self.stride,
            points: self.points,
        }
    }
}
