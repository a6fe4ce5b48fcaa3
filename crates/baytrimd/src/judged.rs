//! The rows of a pull with what became of each, read again from its log and kept in memory for a while.

use std::sync::Arc;

use baytrim_intake::{LogLimits, read_log};
use baytrim_jobs::pulls;
use baytrim_jobs::state::PullEntry;
use baytrim_ledger::Store;
use baytrim_model::channel::Quantity;
use baytrim_model::gate::GateName;
use prometheus_client::metrics::gauge::Gauge;

use crate::fault::{Fault, InternalFault};
use crate::limits::JUDGED_ROWS_MAX;
use crate::recent::Recent;
use crate::retention::open_log;
use crate::shop::Loaded;

/// Rows of a pull, column by column; NaN where there was no reading.
#[derive(Debug, Clone, Default)]
pub struct JudgedRows {
    /// Seconds since the pull began.
    pub offset_s: Vec<f64>,
    /// Engine speed.
    pub rpm: Vec<f32>,
    /// Plate opening in percent.
    pub plate_percent: Vec<f32>,
    /// Lambda as read.
    pub lambda: Vec<f32>,
    /// The gate that refused the row; none where it was accepted.
    pub refused_by: Vec<Option<GateName>>,
}

/// Rows of the pulls looked at last.
#[derive(Debug)]
pub struct JudgedCache(Recent<JudgedRows>);

/// Bytes of memory of a row.
const ROW_BYTES: usize = size_of::<f64>() + 3 * size_of::<f32>() + size_of::<Option<GateName>>();

impl JudgedCache {
    /// Returns an empty one that tells `cached` its bytes.
    pub fn new(cached: Gauge) -> Self {
        Self(Recent::new(JUDGED_ROWS_MAX * ROW_BYTES, cached))
    }

    /// Returns the rows of a pull of `job`.
    ///
    /// # Errors
    /// The store's fault, or a log that is gone or can't be read any more.
    pub fn of_pull(
        &self,
        store: &dyn Store,
        job: &Loaded,
        pull: &PullEntry,
    ) -> Result<Arc<JudgedRows>, Fault> {
        let name = format!("{}/{}", job.state.id(), pull.record.id);
        if let Some(rows) = self.0.get(&name) {
            return Ok(rows);
        }
        let rows = Arc::new(read(store, job, pull)?);
        let bytes = rows.offset_s.len() * ROW_BYTES;
        self.0.put(name, Arc::clone(&rows), bytes);
        Ok(rows)
    }
}

fn read(store: &dyn Store, job: &Loaded, pull: &PullEntry) -> Result<JudgedRows, Fault> {
    let (state, record) = (&job.state, &pull.record);
    let mut source = open_log(store, state.id(), record)?;
    let name = match record.source_name.as_str() {
        "" => "live pull",
        name => name,
    };
    let (fuel, limits) = (&state.spec.fuel, LogLimits::default());
    let intake =
        read_log(&mut source, name, &record.channels, fuel, &limits).map_err(|source| {
            InternalFault::Log {
                pull: format!("{}/{}", state.id(), record.id),
                source: Box::new(source),
            }
        })?;
    let samples = intake.samples;
    let refused_by = pulls::judge(state, record, &samples)?;
    #[expect(
        clippy::cast_possible_truncation,
        reason = "seven digits are plenty for a chart"
    )]
    let column = |quantity| match samples.channel(quantity) {
        Some(values) => values.iter().map(|&value| value as f32).collect(),
        None => vec![f32::NAN; samples.len()],
    };
    Ok(JudgedRows {
        rpm: column(Quantity::EngineSpeed),
        plate_percent: column(Quantity::PlateAngle),
        lambda: column(Quantity::Lambda),
        refused_by,
        offset_s: samples.offset_s,
    })
}
