//! The way of a row from the log into the evidence.

use baytrim_model::bay::DelayModel;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::gate::GateName;

use crate::block::{Blocks, Reading};
use crate::coverage::Coverage;
use crate::film::{FILM_STATES, FILM_TERMS, Film, Lead, with_load};
use crate::frame::{Frame, pipe_l};
use crate::gate::{GateLine, JudgedRow};
use crate::kernel::{Kernel, Mixture, Parcel};
use crate::row::Row;
use crate::strip::Tally;
use crate::surface::Surface;
use crate::witness::Witness;

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
    surface: Surface,
    gates: GateLine,
    kernel: Kernel,
    film: Film,
    lead: Lead,
    blocks: Option<Blocks>,
    coverage: Coverage,
    tally: Tally,
    /// What became of each row, where that is asked for.
    fates: Option<Vec<Option<GateName>>>,
    last_s: f64,
    last_made_s: f64,
    last_response: f64,
    lag_now_s: f64,
    witness: Option<Box<Witness>>,
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
            kernel: Kernel::new(lag_s, delay.cycles, pipe_l(&delay), nodes),
            film: Film::default(),
            lead: Lead::default(),
            blocks: with_evidence.then(|| Blocks::new(nodes)),
            coverage: Coverage::new(nodes),
            tally: Tally::default(),
            fates: None,
            surface: Surface::new(&frame.axes),
            last_s: f64::NAN,
            last_made_s: f64::NAN,
            last_response: f64::NAN,
            lag_now_s: 0.0,
            witness: None,
            frame,
            delay,
        }
    }

    /// Lets `witness` note what becomes of every row from here on.
    pub(crate) fn watch(&mut self, witness: Witness) {
        self.witness = Some(Box::new(witness));
    }

    /// Ends the reading and returns the witness.
    pub(crate) fn into_witness(mut self) -> Option<Witness> {
        self.flush();
        self.witness.map(|witness| *witness)
    }

    /// Keeps what becomes of each row from now on.
    pub(crate) fn keep_fates(&mut self) {
        self.fates = Some(Vec::new());
    }

    /// Ends the reading and returns what became of each row, in their order.
    pub(crate) fn into_fates(mut self) -> Vec<Option<GateName>> {
        self.flush();
        self.fates.unwrap_or_default()
    }

    fn count(&mut self, offset_s: f64, step_s: f64, refused_by: Option<GateName>) {
        self.tally.add(offset_s, step_s, refused_by);
        if let Some(fates) = &mut self.fates {
            fates.push(refused_by);
        }
    }

    /// Takes a row in.
    pub(crate) fn push(&mut self, row: Row) {
        self.gates.push(&self.frame.axes, row);
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

    /// Takes a row in that the gates have judged already.
    pub(crate) fn pass(&mut self, judged: &JudgedRow) {
        let row = &judged.row;
        if !row.offset_s.is_finite() || row.offset_s <= self.last_s && !judged.restarts {
            let refused_by = judged.refused_by.or(Some(GateName::Clock));
            self.count(self.last_s, 0.0, refused_by);
            if let Some(witness) = &mut self.witness {
                witness.skip();
            }
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
            self.lead.restart();
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
            if parcel.film[..=FILM_STATES]
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
        self.count(row.offset_s, step_s, refused_by);
        if let Some(witness) = &mut self.witness {
            match (refused_by, &mixture) {
                (None, Some(mixture)) => {
                    let footprint = self.kernel.footprint();
                    witness.accepted(&self.frame, row, step_s, mixture.ln_richness, footprint);
                }
                (gate, _) => {
                    let spread = row
                        .makes_exhaust()
                        .then(|| self.surface.spread(row.rpm, row.plate_percent));
                    let gate = gate.unwrap_or(GateName::Footprint);
                    witness.refused(row, step_s, gate, spread.as_ref());
                }
            }
        }
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
        let lag_s = self.frame.lag_s(&self.delay, row.rpm, filling);
        self.lag_now_s = lag_s;
        if self.frame.evidence != EvidenceKind::Trims {
            self.kernel.set_lag_s(lag_s);
        }
        let flow = if judged.without_fuel {
            0.0
        } else {
            filling * row.rpm
        };
        let cycle_s = self.frame.engine.cycle_s(row.rpm.max(200.0));
        let lead = self.lead.advance(step_s, filling, cycle_s);
        let mut film = with_load(self.film.advance(step_s, flow), filling, lead);
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
            cycles_per_s: 1.0 / cycle_s,
            flow_l_per_s: self.frame.exhaust_l_per_s(row.rpm.max(200.0), filling),
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
                delay_s: mixture.transport_s + self.lag_now_s,
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
