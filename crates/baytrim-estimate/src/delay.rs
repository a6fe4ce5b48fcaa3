//! The delay that a pull is read with.

mod identify;
mod scene;
#[cfg(test)]
mod tests;
mod thin;
mod told;

use baytrim_model::bay::{DelayChoice, DelayModel};
use baytrim_model::channel::EvidenceKind;
use baytrim_model::engine::Engine;
use baytrim_model::gate::GateName;
use baytrim_model::pull::{DelayFound, DelaySource};

use crate::context::PullContext;
use crate::film::{Film, Lead};
use crate::frame::Frame;
use crate::gate::JudgedRow;
use crate::hat::HatFinder;
use crate::pipeline::Pipeline;
use crate::read::ReadError;
use crate::row::{Columns, Row};
use crate::surface::Surface;

use self::scene::{Scene, SceneRow};

/// Cycles from induction to exhaust; common practice has one to one and a half.
const CYCLES: f64 = 1.2;
/// Standard deviation of the cycles from engine to engine.
const CYCLES_SD: f64 = 0.3;
/// Lag of a wideband sensor with its meter, seconds: 0.05 to 0.15 in the literature.
const LAG_S: f64 = 0.09;
/// Standard deviation of ln(lag).
const LAG_LOG_SD: f64 = 0.35;
/// Gas volume to the sensor for each litre of displacement, litres: header to tailpipe differ tenfold.
const GAS_L_PER_L: f64 = 2.0;
/// Standard deviation of ln(gas volume).
const GAS_LOG_SD: f64 = 0.9;

/// Returns the delay that physics expects before any pull.
pub fn prior(engine: &Engine) -> DelayModel {
    DelayModel {
        cycles: CYCLES,
        gas_volume_l: (GAS_L_PER_L * engine.displacement_cc / 1000.0).clamp(0.05, 20.0),
        lag_s: LAG_S,
    }
}

/// Returns the standard errors of [`prior`], each in its unit.
pub fn prior_standard_error(engine: &Engine) -> DelayModel {
    let prior = prior(engine);
    DelayModel {
        cycles: CYCLES_SD,
        gas_volume_l: prior.gas_volume_l * GAS_LOG_SD,
        lag_s: prior.lag_s * LAG_LOG_SD,
    }
}

/// Returns the delay as given or as physics expects.
pub(crate) fn without_pull(choice: DelayChoice, engine: &Engine) -> DelayFound {
    match choice {
        DelayChoice::Given(model) => DelayFound {
            model,
            source: DelaySource::Given,
            standard_error: DelayModel {
                cycles: 0.0,
                gas_volume_l: 0.0,
                lag_s: 0.0,
            },
            remark: "as given by the job".to_owned(),
            typical: None,
        },
        DelayChoice::Expect(belief) => DelayFound {
            model: belief.model,
            source: DelaySource::Bay,
            standard_error: belief.standard_error,
            remark: "the pull cannot tell the delay: what earlier pulls in the bay told stands"
                .to_owned(),
            typical: None,
        },
        DelayChoice::Identify => DelayFound {
            model: prior(engine),
            source: DelaySource::Prior,
            standard_error: prior_standard_error(engine),
            remark: "the pull cannot tell the delay: what is usual for such an engine stands. \
                     A pull with a few overrun cuts or fuel steps would tell it."
                .to_owned(),
            typical: None,
        },
    }
}

/// Returns the transport delay that `model` gives an operating point, in seconds, lag not included.
///
/// # Errors
/// When a per-node list of `context` does not fit its axes.
pub fn transport_s(
    context: &PullContext<'_>,
    model: &DelayModel,
    points: &[(f64, f64)],
) -> Result<Vec<f64>, ReadError> {
    let frame = Frame::new(context)?;
    let mut finder = HatFinder::default();
    Ok(points
        .iter()
        .map(|&(rpm, plate_percent)| {
            let hat = finder.find(&frame.axes, rpm, plate_percent);
            let row = Row {
                rpm,
                plate_percent,
                ..Row::EMPTY
            };
            frame.delay_s(model, rpm, frame.filling(&row, &hat))
        })
        .collect())
}

/// Finds the delay of a pull from its rows, where the choice is to identify it.
///
/// The surface is fitted with the prior's delay first and with the delay found then once more.
pub(crate) fn of_pull(choice: DelayChoice, frame: &Frame, columns: &Columns<'_>) -> DelayFound {
    let mut found = without_pull(choice, &frame.engine);
    if matches!(choice, DelayChoice::Given(_)) || frame.evidence == EvidenceKind::Trims {
        return found;
    }
    let physics = prior(&frame.engine);
    let belief = match choice {
        DelayChoice::Expect(belief) => Some(belief),
        _ => None,
    };
    let rows = thin::judged(frame, columns);
    let mut start = None;
    for _ in 0..PASSES {
        let mut pipeline = Pipeline::new(frame.clone(), found.model, true);
        for judged in &rows {
            pipeline.pass(judged);
        }
        let evidence = pipeline.into_evidence(relative_error(&found));
        let theta = crate::fit::surface_of(&frame.axes, &evidence);
        let scene = scene_of(frame, &rows, &theta);
        match identify::identify(&scene, &physics, belief.as_ref(), start) {
            Some((place, better)) => (start, found) = (Some(place), better),
            None => break,
        }
    }
    found
}

/// Returns the standard deviation of a delay's error as a share of it. Engines keep to no model of
/// their exhaust flow to better than a tenth or two, however well its numbers are known.
pub(crate) fn relative_error(found: &DelayFound) -> f64 {
    match found.source {
        DelaySource::Given => 0.1,
        DelaySource::Identified | DelaySource::Bay => 0.35,
        DelaySource::Prior => 0.45,
    }
}

/// Passes of fitting the surface and searching the delay.
const PASSES: usize = 2;

fn scene_of(frame: &Frame, rows: &[JudgedRow], theta: &[f64]) -> Scene {
    let mut surface = Surface::new(&frame.axes);
    let mut film = Film::default();
    let mut lead = Lead::default();
    let mut scene: Vec<SceneRow> = Vec::with_capacity(rows.len());
    let mut restarts = true;
    for judged in rows {
        restarts |= judged.restarts;
        if !judged.row.makes_exhaust() {
            continue;
        }
        let step_s = match scene.last() {
            Some(last) if !restarts => judged.row.offset_s - last.offset_s,
            _ => 0.0,
        };
        if restarts {
            film.restart();
            lead.restart();
        }
        let row = scene_row(
            frame,
            judged,
            theta,
            &mut surface,
            &mut film,
            &mut lead,
            step_s,
        );
        scene.push(SceneRow { restarts, ..row });
        restarts = false;
    }
    Scene::new(scene)
}

fn scene_row(
    frame: &Frame,
    judged: &JudgedRow,
    theta: &[f64],
    surface: &mut Surface,
    film: &mut Film,
    lead: &mut Lead,
    step_s: f64,
) -> SceneRow {
    let (row, hat) = (&judged.row, &judged.hat);
    let filling = frame.filling(row, hat);
    let need = surface.spread(row.rpm, row.plate_percent).value(theta);
    let richness = hat.value(&frame.richness) * frame.loop_factor(row) * (-need).exp();
    let flagged = row.fuel_cut >= 0.5;
    let unknown = match judged.refused_by {
        Some(GateName::OverrunCut | GateName::RevLimiter | GateName::TorqueCut) => !flagged,
        Some(GateName::Recovery) => row.fuel_cut.is_nan(),
        Some(
            GateName::ShiftCut
            | GateName::SecondaryAir
            | GateName::ClosedLoop
            | GateName::Purge
            | GateName::WarmUp
            | GateName::OutOfTable,
        ) => true,
        Some(GateName::ChannelFault) => judged.spoils_exhaust,
        _ => false,
    };
    let readable = !matches!(
        judged.refused_by,
        Some(
            GateName::NoReading
                | GateName::Clock
                | GateName::Gap
                | GateName::ChannelFault
                | GateName::SensorStop
                | GateName::SensorNotReady
        )
    );
    let rpm = row.rpm.max(200.0);
    let on = if flagged { 0.0 } else { 1.0 };
    let at_stop = row.lambda >= frame.gates.sensor_lambda_max * 0.98;
    let cycle_s = frame.engine.cycle_s(rpm);
    let led = lead.advance(step_s, filling, cycle_s);
    SceneRow {
        offset_s: row.offset_s,
        cycle_s,
        s_per_l: 1.0 / frame.exhaust_l_per_s(rpm, filling),
        phi: if readable && !at_stop {
            1.0 / row.lambda
        } else {
            f64::NAN
        },
        made: SceneRow::made(film, step_s, richness, filling * rpm, on, led, unknown),
        restarts: judged.restarts,
    }
}
