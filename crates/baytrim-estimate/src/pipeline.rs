//! The way of a row from the log into the evidence.

use baytrim_model::bay::DelayModel;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::gate::GateName;

use crate::block::{Blocks, Reading};
use crate::coverage::Coverage;
use crate::film::{FILM_TERMS, Film, with_load};
use crate::frame::Frame;
use crate::gate::rules::on_axis;
use crate::gate::{GateLine, JudgedRow};
use crate::hat::{Hat, HatFinder};
use crate::kernel::{Kernel, Mixture, Parcel};
use crate::row::Row;
use crate::strip::Tally;
use crate::surface::Surface;

/// A reading is refused when more of its exhaust than this was made while a gate refused.
const REFUSED_SHARE_MAX: f64 = 0.02;
/// Lag of closed-loop trims behind the operating point, seconds: the controller's integral
/// winds the error up over about a second. Common practice.
const CLOSED_LOOP_LAG_S: f64 = 1.0;

/// Reads rows one by one with a known delay.
#[derive(Debug, Clone)]
pub(crate) struct Pipeline {
    frame: Frame,
    delay: DelayModel,
    finder: HatFinder,
    surface: Surface,
    gates: GateLine,
    kernel: Kernel,
    film: Film,
    blocks: Option<Blocks>,
    coverage: Coverage,
    tally: Tally,
    last_s: f64,
    last_made_s: f64,
    last_response: f64,
    delay_now_s: f64,
}

impl Pipeline {
    /// Returns a pipeline at its start; it gathers blocks only when `with_evidence`.
    pub(crate) fn new(frame: Frame, delay: DelayModel, with_evidence: bool) -> Self {
        let nodes = frame.axes.node_count();
        let lag_s = match frame.evidence {
            EvidenceKind::Trims => delay.lag_s + CLOSED_LOOP_LAG_S,
            EvidenceKind::Lambda | EvidenceKind::LambdaAndTrims => delay.lag_s,
        };
        Self {
            gates: GateLine::new(&frame.gates, frame.evidence),
            kernel: Kernel::new(lag_s, nodes),
            film: Film::default(),
            blocks: with_evidence.then(|| Blocks::new(nodes)),
            coverage: Coverage::new(nodes),
            tally: Tally::default(),
            finder: HatFinder::default(),
            surface: Surface::new(&frame.axes),
            last_s: f64::NAN,
            last_made_s: f64::NAN,
            last_response: f64::NAN,
            delay_now_s: 0.0,
            frame,
            delay,
        }
    }

    /// Takes a row in.
    pub(crate) fn push(&mut self, row: Row) {
        let axes = &self.frame.axes;
        let (hat, inside) = if row.makes_exhaust() {
            let inside =
                on_axis(&axes.rpm, row.rpm) && on_axis(&axes.plate_percent, row.plate_percent);
            (self.finder.find(axes, row.rpm, row.plate_percent), inside)
        } else {
            (Hat::default(), false)
        };
        self.gates.push(row, hat, inside);
        while let Some(judged) = self.gates.pop(false) {
            self.pass(&judged);
        }
    }

    /// Lets the rows out that still wait.
    pub(crate) fn flush(&mut self) {
        while let Some(judged) = self.gates.pop(true) {
            self.pass(&judged);
        }
    }

    fn pass(&mut self, judged: &JudgedRow) {
        let row = &judged.row;
        if !row.offset_s.is_finite() || row.offset_s <= self.last_s && !judged.restarts {
            self.tally.add(
                self.last_s,
                0.0,
                judged.refused_by.or(Some(GateName::Clock)),
            );
            return;
        }
        let hole = row.offset_s - self.last_made_s
            > self
                .frame
                .gates
                .gap_s_max
                .max(4.0 * (row.offset_s - self.last_s));
        if judged.restarts || hole {
            self.kernel.restart();
            self.film.restart();
            self.interrupt();
        }
        let step_s = if judged.restarts {
            0.0
        } else {
            row.offset_s - self.last_s
        };
        self.last_s = row.offset_s;
        let mut refused_by = judged.refused_by;
        if row.makes_exhaust() {
            let mut parcel = self.parcel(judged, step_s);
            if parcel
                .film
                .iter()
                .any(|term| term.abs() > self.frame.gates.unsettled_share_max)
            {
                parcel.refused = 1.0;
                refused_by = refused_by.or(Some(GateName::PlateRate));
            }
            self.kernel.make(parcel);
            self.last_made_s = row.offset_s;
        }
        let mixture = self.kernel.read(row.offset_s);
        let refused_by = refused_by.or(match &mixture {
            Some(mixture) if mixture.refused <= REFUSED_SHARE_MAX => None,
            _ => Some(GateName::Footprint),
        });
        self.tally.add(row.offset_s, step_s, refused_by);
        match (refused_by, mixture) {
            (None, Some(mixture)) => self.accept(row, step_s, &mixture),
            _ => self.interrupt(),
        }
    }

    fn interrupt(&mut self) {
        self.last_response = f64::NAN;
        if let Some(blocks) = &mut self.blocks {
            blocks.interrupt();
        }
    }

    fn parcel(&mut self, judged: &JudgedRow, step_s: f64) -> Parcel {
        let (row, hat) = (&judged.row, judged.hat);
        let filling = self.frame.filling(row, &hat);
        let delay_s = self.frame.delay_s(&self.delay, row.rpm, filling);
        let lag_s = self.frame.lag_s(&self.delay, row.rpm, filling);
        self.delay_now_s = delay_s + lag_s;
        if self.frame.evidence != EvidenceKind::Trims {
            self.kernel.set_lag_s(lag_s);
        }
        let flow = if judged.without_fuel {
            0.0
        } else {
            filling * row.rpm
        };
        let mut film = with_load(self.film.advance(step_s, flow), filling);
        let mut richness = hat.value(&self.frame.richness);
        match self.frame.evidence {
            EvidenceKind::Lambda | EvidenceKind::LambdaAndTrims => {
                richness *= self.frame.loop_factor(row);
            }
            EvidenceKind::Trims => {
                richness = hat.value(&self.frame.trim_factor);
                film = [0.0; FILM_TERMS];
            }
        }
        Parcel {
            made_s: row.offset_s,
            delay_s,
            spread: self.surface.spread(row.rpm, row.plate_percent),
            richness,
            film,
            refused: f64::from(u8::from(judged.spoils_exhaust)),
        }
    }

    fn accept(&mut self, row: &Row, step_s: f64, mixture: &Mixture) {
        let response = match self.frame.evidence {
            EvidenceKind::Trims => row.closed_loop_factor,
            EvidenceKind::Lambda | EvidenceKind::LambdaAndTrims => row.lambda,
        };
        self.coverage
            .add(row.offset_s, step_s, self.kernel.footprint());
        if let Some(blocks) = &mut self.blocks {
            let reading = Reading {
                offset_s: row.offset_s,
                step_s,
                need: response.ln() + mixture.ln_richness,
                film: mixture.film,
                delay_s: self.delay_now_s,
                fresh: (response - self.last_response).abs() > 0.0 || self.last_response.is_nan(),
            };
            blocks.add(&reading, self.kernel.footprint());
        }
        self.last_response = response;
    }

    /// Returns dwell and visits so far.
    pub(crate) fn coverage(&self) -> &Coverage {
        &self.coverage
    }

    /// Returns what the gates made of the rows so far.
    pub(crate) fn tally(&self) -> &Tally {
        &self.tally
    }

    /// Ends the reading and returns the evidence, where it was gathered.
    pub(crate) fn into_evidence(mut self, delay_error: f64) -> crate::PullEvidence {
        self.flush();
        match self.blocks {
            Some(blocks) => blocks.finish(&self.coverage, delay_error),
            None => crate::PullEvidence::default(),
        }
    }
}
