//! One fleet, vehicle by vehicle.

use baytrim_estimate::limit::{NodeEstimates, propose_nodes};
use baytrim_estimate::{
    Fit, FitSettings, NeedEvidence, Posterior, PullContext, PullEvidence, Vehicle, disagreement,
    expected_needs, fit_of_kind, fit_whole, pool, read_pull,
};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::job::JobSpec;
use baytrim_model::library::KindPrior;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::random::{Dice, Purpose};
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

use crate::Arguments;

/// Tolerance of the stop rule, ln units.
const TOLERANCE: f64 = 0.03;
/// Most pulls of a vehicle.
const PULLS_MAX: u32 = 8;
/// Chance below which a vehicle is not of its kind.
pub(crate) const CHANCE_MIN: f64 = 0.01;

/// What one vehicle came to.
#[derive(Debug, Clone, Default)]
pub(crate) struct Outcome {
    /// Pulls until the stop rule held.
    pub(crate) pulls: u32,
    /// Pulls until it held in truth.
    pub(crate) true_pulls: u32,
    /// Share of used nodes within tolerance in truth, before any pull and where the stop rule held.
    pub(crate) within: [f64; 2],
    /// Root mean square of what the table in force still needs over the used nodes before any pull, percent.
    pub(crate) start_rms: f64,
    /// Root mean square error of the estimate over the used nodes after the first pull, percent.
    pub(crate) first_rms: f64,
    /// Errors over standard errors, sensor included, at used nodes after the first pull.
    pub(crate) scores: Vec<f64>,
    /// Errors of what the kind tells, likewise, before any pull.
    pub(crate) start_scores: Vec<f64>,
    /// Nodes made leaner than base, those leaner than the truth allows, and those over the wall.
    pub(crate) lean: [u32; 3],
    /// After each pull, the chance that evidence as far from the kind comes of a vehicle of it; empty without a kind.
    pub(crate) chances: Vec<f64>,
    /// Whether it was made unlike its kind.
    pub(crate) is_outlier: bool,
    /// What vehicles were found to differ in: level and shape, percent.
    pub(crate) spread: [f64; 2],
}

impl Outcome {
    /// Returns whether its own evidence spoke against its kind after its last pull.
    pub(crate) fn dropped(&self) -> bool {
        self.chances
            .last()
            .is_some_and(|chance| *chance < CHANCE_MIN)
    }
}

pub(crate) struct Fleet<'a> {
    seed: u64,
    arguments: &'a Arguments,
    kind: EngineTruth,
    spec: JobSpec,
    bays: [BayOptions; 2],
    used: Vec<usize>,
}

struct Known {
    evidence: NeedEvidence,
    dwell_s: Vec<f64>,
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let all: Vec<f64> = values.collect();
    (all.iter().map(|x| x * x).sum::<f64>() / all.len().max(1) as f64).sqrt()
}

impl<'a> Fleet<'a> {
    pub(crate) fn new(seed: u64, arguments: &'a Arguments) -> Self {
        let options = TruthOptions {
            surface_rms_percent: Some(arguments.rms),
            ..TruthOptions::default()
        };
        let mut kind = EngineTruth::from_seed(seed, &options);
        kind.surface = kind.surface.shifted(arguments.need / 100.0);
        let bays = [0, 1].map(|bay| BayOptions::from_seed(seed * 10 + bay));
        let mut driven_s = vec![0.0; kind.axes.node_count()];
        for number in 0..3 {
            let values = &kind.table.values;
            let path = seed * 1_000_000 + 900_000 + number;
            let pull = simulate(&kind, values, arguments.pull, path, &bays[0]);
            for (sum, add) in driven_s.iter_mut().zip(pull.visited_s) {
                *sum += add;
            }
        }
        let used = (0..driven_s.len()).filter(|&node| driven_s[node] >= 3.0);
        Self {
            seed,
            arguments,
            spec: kind.job_spec("fleet".parse().expect("a name")),
            used: used.collect(),
            kind,
            bays,
        }
    }

    pub(crate) fn run(&self) -> Vec<Outcome> {
        let mut known: Vec<Known> = Vec::new();
        let mut outcomes = Vec::new();
        for number in 0..self.arguments.vehicles {
            let told = (!self.arguments.alone && !known.is_empty()).then(|| self.pool(&known));
            let (outcome, vehicle) = self.tune(number as u64, told.as_ref());
            outcomes.push(outcome);
            known.push(vehicle);
        }
        outcomes
    }

    fn pool(&self, known: &[Known]) -> KindPrior {
        let axes = &self.kind.axes;
        let vehicles = known.iter().map(|one| Vehicle {
            axes,
            evidence: one.evidence.clone(),
            shift: vec![0.0; axes.node_count()],
            dwell_s: one.dwell_s.clone(),
        });
        pool(axes, &vehicles.collect::<Vec<_>>())
    }

    fn truth(&self, number: u64) -> EngineTruth {
        let mut truth = self.kind.clone();
        let mut dice = Dice::new(self.seed * 1000 + number, Purpose::Surface);
        let (level, shape) = (self.arguments.level / 100.0, self.arguments.shape / 100.0);
        truth.surface = truth.surface.varied(&mut dice, level, shape);
        if self.is_outlier(number) {
            truth.surface = truth.surface.shifted(self.arguments.outlier / 100.0);
        }
        truth
    }

    fn is_outlier(&self, number: u64) -> bool {
        number + 1 == self.arguments.vehicles as u64 && self.arguments.outlier != 0.0
    }

    fn log_trim(&self, values: &[f64]) -> Vec<f64> {
        let table = &self.kind.table;
        let pairs = values.iter().zip(&table.values);
        pairs
            .map(|(&value, &base)| (table.content.fuel(value) / table.content.fuel(base)).ln())
            .collect()
    }

    fn within(&self, needs: &[f64], values: &[f64]) -> f64 {
        let trim = self.log_trim(values);
        let good = |node: &&usize| (needs[**node] - trim[**node]).abs() <= TOLERANCE;
        self.used.iter().filter(good).count() as f64 / self.used.len().max(1) as f64
    }

    /// Returns the starting table: richer only.
    fn start(&self, told: &KindPrior) -> Vec<f64> {
        let axes = &self.kind.axes;
        let (mean, sd) = expected_needs(axes, told).expect("sound");
        let mut limits = self.spec.limits.clone();
        limits.standard_error_percent_max = limits.standard_error_percent_max.max(5.0);
        limits.visits_min = 1;
        let never = vec![1e3; axes.node_count()];
        let estimates = NodeEstimates {
            theta: &mean,
            standard_error: &sd,
            sensor_error: 0.0,
            dwell_s: &told.dwell_s,
            visits: &told.vehicles,
            measured_fraction: &vec![0.0; axes.node_count()],
            false_lean: &[],
            least_fuel: &never,
        };
        self.proposed(&estimates, &limits, &self.kind.table.values)
    }

    fn proposed(
        &self,
        estimates: &NodeEstimates<'_>,
        limits: &baytrim_model::limits::Limits,
        head: &[f64],
    ) -> Vec<f64> {
        let (axes, table) = (&self.kind.axes, &self.kind.table);
        let target = &self.kind.target_lambda;
        propose_nodes(axes, table, target, limits, head, estimates)
            .expect("shapes fit")
            .iter()
            .map(|node| node.after)
            .collect()
    }

    fn read(&self, truth: &EngineTruth, values: &[f64], vehicle: u64, pull: u64) -> PullEvidence {
        let bay = &self.bays[(vehicle % 2) as usize];
        let seed = self.seed * 1_000_000 + vehicle * 1000 + pull;
        let simulated = simulate(truth, values, self.arguments.pull, seed, bay);
        let trim = self.log_trim(values);
        let context = PullContext {
            engine: &truth.engine,
            axes: &truth.axes,
            target_lambda: &truth.target_lambda,
            table: &truth.table,
            trim_in_force: &trim,
            gates: &self.spec.gates,
            delay: DelayChoice::Identify,
            evidence: EvidenceKind::Lambda,
        };
        read_pull(&simulated.samples, &context)
            .expect("shapes fit")
            .evidence
    }

    fn tune(&self, number: u64, told: Option<&KindPrior>) -> (Outcome, Known) {
        let truth = self.truth(number);
        let needs = truth.theta_at_nodes();
        let axes = &self.kind.axes;
        let mut values =
            told.map_or_else(|| self.kind.table.values.clone(), |told| self.start(told));
        let mut outcome = Outcome {
            is_outlier: self.is_outlier(number),
            ..Outcome::default()
        };
        let trim = self.log_trim(&values);
        let left = self
            .used
            .iter()
            .map(|&node| 100.0 * (needs[node] - trim[node]));
        outcome.start_rms = rms(left);
        outcome.within[0] = self.within(&needs, &values);
        if let Some(told) = told {
            let (mean, sd) = expected_needs(axes, told).expect("sound");
            let scores = self
                .used
                .iter()
                .map(|&node| (needs[node] - mean[node]) / sd[node]);
            outcome.start_scores = scores.collect();
            outcome.spread = [told.spread.level_percent, told.spread.shape_percent];
        }
        outcome.true_pulls = if outcome.within[0] >= self.arguments.share {
            0
        } else {
            PULLS_MAX + 1
        };
        let mut pulls: Vec<PullEvidence> = Vec::new();
        loop {
            pulls.push(self.read(&truth, &values, number, pulls.len() as u64));
            let all: Vec<&PullEvidence> = pulls.iter().collect();
            let settings = FitSettings::default();
            let (own, own_posterior) = fit_whole(axes, &all, &settings).expect("solvable");
            let evidence = own_posterior.need_evidence(&all).expect("solvable");
            let mut of_kind = None;
            if let Some(told) = told {
                let found = disagreement(axes, &evidence, told).expect("sound");
                outcome.chances.push(found.chance);
                if found.chance >= CHANCE_MIN {
                    let found = fit_of_kind(axes, &all, &settings, told);
                    of_kind = Some(found.expect("solvable"));
                }
            }
            let (fit, posterior) = of_kind
                .as_ref()
                .map_or((&own, &own_posterior), |(fit, posterior)| (fit, posterior));
            let least = least_fuel(&own);
            let estimates = NodeEstimates {
                theta: &fit.theta,
                standard_error: &fit.standard_error,
                sensor_error: fit.sensor_error,
                dwell_s: &fit.dwell_s,
                visits: &fit.visits,
                measured_fraction: &fit.measured_fraction,
                false_lean: &[],
                least_fuel: &least,
            };
            if pulls.len() == 1 {
                self.score(&needs, fit, &mut outcome);
            }
            values = self.proposed(&estimates, &self.spec.limits, &values);
            let made = u32::try_from(pulls.len()).unwrap_or(u32::MAX);
            if self.within(&needs, &values) >= self.arguments.share {
                outcome.true_pulls = outcome.true_pulls.min(made);
            }
            if self.is_done(posterior, &values) || made >= PULLS_MAX {
                outcome.pulls = made;
                outcome.within[1] = self.within(&needs, &values);
                self.count_lean(&needs, &values, &mut outcome);
                let dwell_s = own.dwell_s.clone();
                return (outcome, Known { evidence, dwell_s });
            }
        }
    }

    fn is_done(&self, posterior: &Posterior, values: &[f64]) -> bool {
        let trim = self.log_trim(values);
        let found = posterior.within(&trim, &self.used, TOLERANCE);
        found.is_some_and(|found| found.share >= self.arguments.share)
    }

    fn score(&self, needs: &[f64], fit: &Fit, outcome: &mut Outcome) {
        let error = |&node: &usize| fit.theta[node] - needs[node];
        outcome.first_rms = 100.0 * rms(self.used.iter().map(error));
        let score = |node: &usize| error(node) / fit.standard_error[*node].hypot(fit.sensor_error);
        outcome.scores = self.used.iter().map(score).collect();
    }

    fn count_lean(&self, needs: &[f64], values: &[f64], outcome: &mut Outcome) {
        for (node, trim) in self.log_trim(values).into_iter().enumerate() {
            if trim < -1e-9 {
                let (rpm, plate) = self.kind.axes.position(node);
                let wall = self.spec.limits.leanest_lambda_at(rpm, plate);
                let lambda = self.kind.target_lambda[node] * (needs[node] - trim).exp();
                outcome.lean[0] += 1;
                outcome.lean[1] += u32::from(needs[node] > trim);
                outcome.lean[2] += u32::from(lambda > wall);
            }
        }
    }
}

fn least_fuel(own: &Fit) -> Vec<f64> {
    // 1.645: the default lean confidence of 95 %.
    let bound =
        |node: usize| own.theta[node] + 1.645 * own.standard_error[node].hypot(own.sensor_error);
    (0..own.theta.len()).map(bound).collect()
}
