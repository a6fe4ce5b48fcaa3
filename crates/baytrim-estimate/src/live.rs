//! Reads a pull while it streams in.

use baytrim_model::bay::DelayChoice;
use baytrim_model::pull::{GateCount, NodeCoverage};
use baytrim_model::samples::Samples;

use crate::context::PullContext;
use crate::delay;
use crate::frame::Frame;
use crate::pipeline::Pipeline;
use crate::read::{ReadError, check_columns};
use crate::row::Columns;

/// A pull that streams in, judged by the same gates as a finished one, with the delay given or usual.
///
/// Rows are counted a moment after they came, because a later row can still refuse them: 0.6 s, and
/// while a channel stands still as long as the gate for stuck channels needs to judge it (`stuck_s`).
#[derive(Debug, Clone)]
pub struct LivePull {
    pipeline: Pipeline,
}

impl LivePull {
    /// Returns a pull that has not begun.
    ///
    /// # Errors
    /// When a per-node list of `context` does not fit its axes.
    pub fn new(context: &PullContext<'_>) -> Result<Self, ReadError> {
        let frame = Frame::new(context)?;
        let delay = match context.delay {
            DelayChoice::Given(model) => model,
            DelayChoice::Expect(belief) => belief.model,
            DelayChoice::Identify => delay::prior(context.engine),
        };
        Ok(Self {
            pipeline: Pipeline::new(frame, delay, false),
        })
    }

    /// Takes the next batch in.
    ///
    /// # Errors
    /// When columns of the batch differ in length; nothing of it is taken then.
    pub fn push(&mut self, batch: &Samples) -> Result<(), ReadError> {
        check_columns(batch)?;
        let columns = Columns::new(batch);
        for row in 0..columns.len() {
            self.pipeline.push(columns.row(row));
        }
        Ok(())
    }

    /// Counts the rows that still wait; call it when the stream has ended.
    pub fn finish(&mut self) {
        self.pipeline.flush();
    }

    /// Returns the number of samples judged so far.
    pub fn sample_count(&self) -> u64 {
        self.pipeline.tally().sample_count()
    }

    /// Returns the number of samples accepted so far.
    pub fn accepted_count(&self) -> u64 {
        self.pipeline.tally().accepted_count()
    }

    /// Returns the seconds of samples accepted so far.
    pub fn accepted_s(&self) -> f64 {
        self.pipeline.tally().accepted_s()
    }

    /// Returns what each gate refused so far, without gates that refused nothing.
    pub fn refused(&self) -> Vec<GateCount> {
        self.pipeline.tally().refused()
    }

    /// Returns the coverage of each node so far, in node order.
    pub fn coverage(&self) -> &[NodeCoverage] {
        self.pipeline.coverage().nodes()
    }
}
