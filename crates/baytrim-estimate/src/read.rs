//! Reads a finished pull.

use baytrim_model::axis::Axes;
use baytrim_model::gate::GateName;
use baytrim_model::pull::{FilmBand, PullSummary, PullWarning};
use baytrim_model::samples::Samples;

use crate::context::PullContext;
use crate::contrast::film_meter;
use crate::delay;
use crate::evidence::PullEvidence;
use crate::fit::FitSettings;
use crate::frame::Frame;
use crate::pipeline::Pipeline;
use crate::posterior::fit_whole;
use crate::quality;
use crate::row::Columns;
use crate::strip::Tally;

/// What a pull turned out to be, and what it says.
#[derive(Debug, Clone, PartialEq)]
pub struct PullReading {
    /// What the pull turned out to be.
    pub summary: PullSummary,
    /// What it says about all nodes.
    pub evidence: PullEvidence,
}

/// Why a pull could not be read. A pull without one good sample is no error: it is read, and its
/// warnings say so.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReadError {
    /// A per-node list does not fit the axes.
    #[error("{list} has {count} values where the axes have {nodes} nodes; give one value per node")]
    Shape {
        /// The list.
        list: &'static str,
        /// Its length.
        count: usize,
        /// Number of nodes.
        nodes: usize,
    },
    /// A per-node list holds a value that is no usable number.
    #[error("{list} at node {node} is not a usable number; check the table")]
    NotFinite {
        /// The list.
        list: &'static str,
        /// The node, in node order.
        node: usize,
    },
    /// Columns of the samples differ in length.
    #[error(
        "channel {channel} has {count} values for {rows} times; give one value per time, NaN where there was no reading"
    )]
    Column {
        /// The channel.
        channel: &'static str,
        /// Its length.
        count: usize,
        /// Number of times.
        rows: usize,
    },
}

/// Refuses samples whose columns differ in length.
pub(crate) fn check_columns(samples: &Samples) -> Result<(), ReadError> {
    for (quantity, column) in &samples.channels {
        if column.len() != samples.len() {
            return Err(ReadError::Column {
                channel: quantity.as_str(),
                count: column.len(),
                rows: samples.len(),
            });
        }
    }
    Ok(())
}

/// Reads a finished pull: gates, delay, footprints, evidence.
///
/// # Errors
/// When a per-node list of `context` does not fit its axes or columns of `samples` differ in length.
/// Bad values in the samples are no error: gates refuse and count them.
pub fn read_pull(samples: &Samples, context: &PullContext<'_>) -> Result<PullReading, ReadError> {
    check_columns(samples)?;
    let frame = Frame::new(context)?;
    let columns = Columns::new(samples);
    let odd = quality::warnings(&frame, &columns);
    let apart = quality::sensors::apart(&frame, &columns);
    let delay = delay::of_pull(context.delay, &frame, &columns);
    let delay_error = delay::relative_error(&delay);
    let mut pipeline = Pipeline::new(frame, delay.model, true);
    for row in 0..columns.len() {
        pipeline.push(columns.row(row));
    }
    pipeline.flush();
    let tally = pipeline.tally();
    let summary = PullSummary {
        sample_count: tally.sample_count(),
        duration_s: Some(samples.duration_s())
            .filter(|span| span.is_finite())
            .unwrap_or(0.0)
            .max(0.0),
        accepted_s: tally.accepted_s(),
        refused: tally.refused(),
        strip: tally.strip(),
        delay,
        coverage: pipeline.coverage().nodes().to_vec(),
        warnings: warnings(tally)
            .into_iter()
            .chain(odd)
            .chain(apart.warnings)
            .collect(),
        film: Vec::new(),
        sensors: apart.bands,
        realised: None,
        power: None,
        air: None,
        behaviour: None,
        grip: None,
    };
    let axes = context.axes;
    let mut reading = PullReading {
        summary,
        evidence: pipeline.into_evidence(delay_error),
    };
    reading.summary.film = film(axes, &reading.evidence);
    Ok(reading)
}

/// Returns how far readings with the throttle opening and closing disagree, by the pull's own fit.
fn film(axes: &Axes, evidence: &PullEvidence) -> Vec<FilmBand> {
    let Ok((_, posterior)) = fit_whole(axes, &[evidence], &FitSettings::default()) else {
        return Vec::new();
    };
    let bands = film_meter(axes, &posterior).into_iter();
    bands
        .map(|band| FilmBand {
            from_rpm: band.from_rpm,
            to_rpm: band.to_rpm,
            difference_percent: 100.0 * band.difference,
            standard_error_percent: 100.0 * band.standard_error,
            tip_in_s: band.tip_in_s,
            tip_out_s: band.tip_out_s,
        })
        .collect()
}

/// Returns what became of each sample: the gate that refuses it, none where it is accepted.
///
/// The outcome is that of [`read_pull`] where `context` gives the delay that it found.
///
/// # Errors
/// As [`read_pull`].
pub fn judge_rows(
    samples: &Samples,
    context: &PullContext<'_>,
) -> Result<Vec<Option<GateName>>, ReadError> {
    check_columns(samples)?;
    let frame = Frame::new(context)?;
    let columns = Columns::new(samples);
    let delay = delay::of_pull(context.delay, &frame, &columns);
    let mut pipeline = Pipeline::new(frame, delay.model, false);
    pipeline.keep_fates();
    for row in 0..columns.len() {
        pipeline.push(columns.row(row));
    }
    Ok(pipeline.into_fates())
}

/// Below this share of accepted samples a pull is warned about.
const ACCEPTED_SHARE_MIN: f64 = 0.1;

pub(crate) fn warnings(tally: &Tally) -> Vec<PullWarning> {
    let mut warnings = Vec::new();
    if tally.sample_count() == 0 {
        warnings.push(PullWarning {
            code: "empty".to_owned(),
            message: "the pull has no samples; check that the logger was recording".to_owned(),
        });
        return warnings;
    }
    let share = tally.accepted_count() as f64 / tally.sample_count() as f64;
    if share < ACCEPTED_SHARE_MIN
        && let Some(worst) = tally
            .refused()
            .iter()
            .max_by_key(|count| count.sample_count)
    {
        warnings.push(PullWarning {
            code: "nearly_all_refused".to_owned(),
            message: format!(
                "{:.0} % of the samples were refused, most of them because {}; {}",
                100.0 * (1.0 - share),
                worst.gate.sentence(),
                remedy(worst.gate)
            ),
        });
    }
    warnings
}

/// Returns what to do when a gate refused nearly everything.
fn remedy(gate: GateName) -> &'static str {
    match gate {
        GateName::NoReading => {
            "check the channel map: lambda, engine speed and plate angle must all be there, and the engine must run"
        }
        GateName::Clock => "check the logger's clock, and the time column of the channel map",
        GateName::ChannelFault => {
            "check the sensor and its wiring, or raise gates.stuck_s for a logger that speaks seldom"
        }
        GateName::RevLimiter => "shift earlier, or check gates.rev_limit_rpm",
        GateName::TorqueCut => {
            "switch launch and traction control off, or check the torque cut flag and gates.cut_lambda_min"
        }
        GateName::SecondaryAir => {
            "block secondary air off while mapping, or check its flag and gates.secondary_air_rpm_max"
        }
        GateName::ClosedLoop => {
            "open the loop while mapping, or log both trims and set evidence = \"lambda_and_trims\" in the channel map"
        }
        GateName::Purge => "close the purge valve while mapping, or raise gates.purge_percent_max",
        GateName::RpmRate => {
            "hold engine speed steadier, or raise gates.rpm_rate_rpm_per_s_max (0 is off)"
        }
        GateName::Gap => "check the logger's clock, or raise gates.gap_s_max for a slow logger",
        GateName::OverrunCut => {
            "log with the throttle open, or check the unit of the plate angle and gates.overrun_plate_percent_max"
        }
        GateName::Recovery => {
            "hold the throttle longer between overrun cuts, or lower gates.recovery_s"
        }
        GateName::ShiftCut => {
            "check the shift flag, stay in one gear, or raise gates.shift_rpm_drop_percent"
        }
        GateName::WarmUp => {
            "warm the engine up, or check the unit of the coolant temperature and gates.coolant_c_min"
        }
        GateName::PlateRate => {
            "hold the throttle steady for some seconds at a time, or raise gates.plate_rate_percent_per_s_max and gates.unsettled_share_max"
        }
        GateName::SensorStop => {
            "check the lambda sensor, the unit of its channel, gates.sensor_lambda_min and gates.sensor_lambda_max"
        }
        GateName::SensorNotReady => {
            "let the sensor heat up before logging, check its ready flag, or lower gates.sensor_settle_s"
        }
        GateName::OutOfTable => {
            "check the units of engine speed and plate angle against the table's axes"
        }
        GateName::Footprint => "hold the engine steady for some seconds at a time",
    }
}
