//! Finds readings that are lean for another reason than too little fuel.
//!
//! Enriching on false air, a misfire or a lost cylinder harms. Each leaves a pattern that a table's fault does not:
//!
//! - a **leak** lets in air at an even rate, so it reads lean as 1 over the exhaust flow;
//! - **secondary air** blows for a while after the start: lean until a moment, then not;
//! - a **lost cylinder** reads lean from a moment on, by ln(n / (n - 1)) with n cylinders;
//! - a **misfire** comes in bursts: readings stray lean far more often than rich;
//! - an **ageing sensor** drifts while the pull goes on.
//!
//! Each is a pattern over the readings with a coefficient of a half-normal prior, held against the smooth surface
//! alone by its Bayes factor: with s = x'V^-1 y and q = x'V^-1 x over the inflation k^2, prior scale b,
//!   ln BF = -ln(1 + b^2 q)/2 + b^2 s^2 / (2 (1 + b^2 q)) + ln(2 Phi(b s / sqrt(1 + b^2 q))).
//! Bursts are counts: Poisson at the rate of a sound engine against one ten times that.
//! Sources: Bayes factors, Kass and Raftery (1995), J. American Statistical Association 90; lean readings of
//! leaks, misfires and lost cylinders follow from the element balance; prior odds are common sense.

mod misfire;

use baytrim_model::axis::Axes;

use crate::context::PullContext;
use crate::evidence::PullEvidence;
use crate::fit::{Episode, Score, Solved};
use crate::frame::Frame;
use crate::limit::normal;
use crate::posterior::Posterior;
use crate::read::ReadError;
use crate::row::Row;

/// What makes readings lean without a lack of fuel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FalseLean {
    /// Air leaks into the exhaust.
    Leak,
    /// Air is blown into the exhaust for a while.
    SecondaryAir,
    /// A cylinder gets no fuel or does not fire.
    LostCylinder,
    /// Charges do not burn now and then.
    Misfire,
    /// The sensor drifts.
    SensorDrift,
}

impl FalseLean {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Leak,
        Self::SecondaryAir,
        Self::LostCylinder,
        Self::Misfire,
        Self::SensorDrift,
    ];

    /// Returns its name, for scripts.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Leak => "leak",
            Self::SecondaryAir => "secondary_air",
            Self::LostCylinder => "lost_cylinder",
            Self::Misfire => "misfire",
            Self::SensorDrift => "sensor_drift",
        }
    }
}

/// One suspicion.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// What it would be.
    pub cause: FalseLean,
    /// Its probability among all causes and none, 0 to 1.
    pub probability: f64,
    /// The pull that shows it, by its place in the list; none where all do.
    pub pull: Option<usize>,
    /// Seconds since the pull began at which it ends or begins; none where it does neither.
    pub at_s: Option<f64>,
    /// How lean it makes readings, ln units: of a leak at the visited node of least flow; of a drift over the
    /// pull; of a misfire the share of time in bursts.
    pub size: f64,
    /// Nodes whose answer rests on it by more than a percent, increasing.
    pub nodes: Vec<usize>,
}

/// Probability of each cause before any reading; the rest is none of them.
const PRIOR: f64 = 0.02;
/// Share of their information that readings are believed: they share errors that the noise model does not know.
const BELIEF: f64 = 0.25;
/// Prior scale of a leak at the visited node of least flow, ln units.
const LEAK_SCALE: f64 = 0.08;
/// Prior scale of a step, ln units.
const STEP_SCALE: f64 = 0.06;
/// Prior scale of a drift over a pull, ln units.
const DRIFT_SCALE: f64 = 0.02;
/// Moments of a pull at which a step is looked for, at the most.
const MOMENTS: usize = 16;
/// A lost cylinder's step agrees with ln(n / (n - 1)) to this, ln units.
const CYLINDER_TOLERANCE: f64 = 0.06;
/// Share of a node's dwell from which a pull makes its answer.
const PULL_SHARE: f64 = 0.2;
/// How lean a suspect must make a node for the node to rest on it, ln units.
const NODE_SIZE_MIN: f64 = 0.01;

/// Returns the suspicions about `pulls`, from which `posterior` came, likeliest first; those below 1 % are left out.
///
/// `context` gives the job's facts; its trim in force does not matter.
///
/// # Errors
/// When a per-node list of `context` does not fit its axes.
pub fn false_lean(
    context: &PullContext<'_>,
    pulls: &[&PullEvidence],
    posterior: &Posterior,
) -> Result<Vec<Suspect>, ReadError> {
    let frame = Frame::new(context)?;
    let solved = posterior.solved();
    if solved.episodes.stays.is_empty() {
        return Ok(Vec::new());
    }
    let mut found = Vec::new();
    let moments = moments(solved);
    let mut patterns = vec![leak_pattern(&frame, solved, pulls)];
    patterns.extend(moments.iter().map(|moment| step_pattern(solved, moment)));
    let drifts = solved.ranks.len();
    patterns.extend((0..drifts).map(|pull| drift_pattern(solved, pull)));
    let Some(scores) = solved.scores(&patterns) else {
        return Ok(Vec::new());
    };
    found.push(leak(&frame, pulls, scores[0]));
    found.extend(steps(
        context,
        solved,
        pulls,
        &moments,
        &scores[1..=moments.len()],
    ));
    found.extend(drift(solved, pulls, &scores[1 + moments.len()..]));
    found.extend(misfire::misfire(solved, pulls));
    Ok(weighed(found))
}

/// Turns log Bayes factors, in `probability`, into probabilities.
fn weighed(mut found: Vec<Suspect>) -> Vec<Suspect> {
    let none = 1.0 - PRIOR * FalseLean::ALL.len() as f64;
    let largest = found
        .iter()
        .map(|suspect| suspect.probability)
        .fold(0.0, f64::max);
    let weight = |log: f64| PRIOR * (log - largest).exp();
    let total: f64 = found
        .iter()
        .map(|suspect| weight(suspect.probability))
        .sum();
    let total = total + none * (-largest).exp();
    for suspect in &mut found {
        suspect.probability = weight(suspect.probability) / total;
    }
    found.retain(|suspect| suspect.probability >= 0.01);
    found.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    found
}

/// Returns the log Bayes factor of a coefficient above 0 of prior scale `scale`, and its likeliest size.
fn one_sided(score: Score, scale: f64) -> (f64, f64) {
    let (s, q) = (BELIEF * score.product, BELIEF * score.precision);
    let widened = 1.0 + scale * scale * q;
    let z = scale * s / widened.sqrt();
    let log = -0.5 * widened.ln() + 0.5 * z * z + log_twice_cdf(z);
    (log, (s / (q + 1.0 / (scale * scale))).max(0.0))
}

/// Returns ln(2 Phi(z)), by its asymptote far below 0.
fn log_twice_cdf(z: f64) -> f64 {
    if z < -6.0 {
        return -0.5 * z * z - (-z * std::f64::consts::TAU.sqrt() * 0.5).ln();
    }
    (2.0 * normal::chance_below(z)).ln()
}

fn visited(pulls: &[&PullEvidence], node: usize) -> bool {
    pulls
        .iter()
        .any(|pull| pull.visits.get(node).is_some_and(|&visits| visits > 0))
}

/// Returns, node by node, the least flow of a visited node over the node's own.
fn thin_flow(frame: &Frame, pulls: &[&PullEvidence]) -> Vec<f64> {
    let axes: &Axes = &frame.axes;
    let mut finder = crate::hat::HatFinder::default();
    let flows: Vec<f64> = (0..axes.node_count())
        .map(|node| {
            let (rpm, plate_percent) = axes.position(node);
            let hat = finder.find(axes, rpm, plate_percent);
            let row = Row {
                rpm,
                plate_percent,
                ..Row::EMPTY
            };
            frame.exhaust_l_per_s(rpm, frame.filling(&row, &hat))
        })
        .collect();
    let seen = (0..flows.len()).filter(|&node| visited(pulls, node));
    let least = seen.map(|node| flows[node]).fold(f64::INFINITY, f64::min);
    flows.iter().map(|flow| (least / flow).min(1.0)).collect()
}

fn leak_pattern(frame: &Frame, solved: &Solved, pulls: &[&PullEvidence]) -> Vec<f64> {
    let thin = solved.by_position(&thin_flow(frame, pulls));
    let mut pattern = vec![0.0; solved.episodes.observations.len()];
    for stay in &solved.episodes.stays {
        let range = stay.start..stay.end;
        let own = solved.episodes.observations[range.clone()].iter();
        for (slot, observation) in pattern[range].iter_mut().zip(own) {
            let entries = &solved.episodes.footprint[observation.start..observation.end];
            let shares = entries.iter();
            *slot = shares
                .map(|&(place, share)| share * thin[stay.places[place]])
                .sum();
        }
    }
    pattern
}

fn leak(frame: &Frame, pulls: &[&PullEvidence], score: Score) -> Suspect {
    let (log, size) = one_sided(score, LEAK_SCALE);
    let thin = thin_flow(frame, pulls);
    let rests = |&node: &usize| size * thin[node] >= NODE_SIZE_MIN;
    Suspect {
        cause: FalseLean::Leak,
        probability: log,
        pull: None,
        at_s: None,
        size,
        nodes: (0..thin.len()).filter(rests).collect(),
    }
}

/// A moment of a pull, by the equations' number of the pull.
struct Moment {
    pull: usize,
    at_s: f64,
    /// Whether readings are lean until then, else from then on.
    until: bool,
}

/// Returns the moments at which one episode of a pull follows another, [`MOMENTS`] of each pull at the most, so
/// that about as many readings lie between one and the next.
///
/// Within an episode no step is looked for: one that is dated a second wrong there would be held against the
/// fast noise alone and always lose, and the moment that wins would be far from the true one.
fn moments(solved: &Solved) -> Vec<Moment> {
    let mut all = Vec::new();
    let observations = &solved.episodes.observations;
    for pull in 0..solved.ranks.len() {
        let stays = solved.episodes.stays.iter();
        let stays: Vec<&Episode> = stays.filter(|stay| stay.pull == pull).collect();
        let count: usize = stays.iter().map(|stay| stay.end - stay.start).sum();
        let (mut before, mut taken) = (0, 0);
        for pair in stays.windows(2) {
            before += pair[0].end - pair[0].start;
            let due = before * (MOMENTS + 1) / count.max(1);
            if due > taken && due <= MOMENTS {
                taken = due;
                let end_s = observations[pair[0].end - 1].mid_s;
                let at_s = 0.5 * (end_s + observations[pair[1].start].mid_s);
                all.extend([true, false].map(|until| Moment { pull, at_s, until }));
            }
        }
    }
    all
}

fn span(solved: &Solved, pull: usize) -> Option<(f64, f64)> {
    let stays = solved.episodes.stays.iter();
    let mut own = stays.filter(|stay| stay.pull == pull);
    let first = own.next()?;
    let last = own.next_back().unwrap_or(first);
    let observations = &solved.episodes.observations;
    Some((
        observations[first.start].mid_s,
        observations[last.end - 1].mid_s,
    ))
}

fn of_pull(solved: &Solved, pull: usize, value: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut pattern = vec![0.0; solved.episodes.observations.len()];
    for stay in solved
        .episodes
        .stays
        .iter()
        .filter(|stay| stay.pull == pull)
    {
        let range = stay.start..stay.end;
        let own = solved.episodes.observations[range.clone()].iter();
        for (slot, observation) in pattern[range].iter_mut().zip(own) {
            *slot = value(observation.mid_s);
        }
    }
    pattern
}

fn step_pattern(solved: &Solved, moment: &Moment) -> Vec<f64> {
    of_pull(solved, moment.pull, |mid_s| {
        f64::from(u8::from((mid_s < moment.at_s) == moment.until))
    })
}

fn drift_pattern(solved: &Solved, pull: usize) -> Vec<f64> {
    let Some((start_s, end_s)) = span(solved, pull) else {
        return vec![0.0; solved.episodes.observations.len()];
    };
    let length_s = (end_s - start_s).max(1.0);
    of_pull(solved, pull, |mid_s| (mid_s - start_s) / length_s - 0.5)
}

/// Returns the nodes that `pull`, by the caller's number, visited for a good part of their dwell.
fn made_by(pulls: &[&PullEvidence], pull: usize) -> Vec<usize> {
    let nodes = pulls[pull].dwell_s.len();
    let dwell_s = |pull: &PullEvidence, node: usize| f64::from(pull.dwell_s[node]);
    let all = |node: usize| pulls.iter().map(|pull| dwell_s(pull, node)).sum::<f64>();
    let own = |node: usize| dwell_s(pulls[pull], node);
    let rests = |&node: &usize| own(node) > PULL_SHARE * all(node).max(1e-6);
    (0..nodes).filter(rests).collect()
}

/// Returns secondary air and a lost cylinder, each at its likeliest moment.
fn steps(
    context: &PullContext<'_>,
    solved: &Solved,
    pulls: &[&PullEvidence],
    moments: &[Moment],
    scores: &[Score],
) -> Vec<Suspect> {
    let cylinders = f64::from(context.engine.cylinders).max(1.0);
    let lost = (cylinders > 1.0).then(|| (cylinders / (cylinders - 1.0)).ln());
    let mut found = Vec::new();
    for cause in [FalseLean::SecondaryAir, FalseLean::LostCylinder] {
        let logs = moments.iter().zip(scores).filter_map(|(moment, &score)| {
            let (log, size) = match (cause, lost) {
                (FalseLean::SecondaryAir, _) if moment.until => one_sided(score, STEP_SCALE),
                (FalseLean::LostCylinder, Some(lost)) => fixed(score, lost),
                _ => return None,
            };
            Some((log, size, moment))
        });
        let logs: Vec<_> = logs.collect();
        let Some(best) = logs.iter().max_by(|a, b| a.0.total_cmp(&b.0)) else {
            continue;
        };
        let sum: f64 = logs.iter().map(|(log, ..)| (log - best.0).exp()).sum();
        let pull = solved.ranks[best.2.pull];
        found.push(Suspect {
            cause,
            probability: best.0 + (sum / logs.len() as f64).ln(),
            pull: Some(pull),
            at_s: Some(best.2.at_s),
            size: best.1,
            nodes: made_by(pulls, pull),
        });
    }
    found
}

/// Returns the log Bayes factor of a coefficient near `size`.
fn fixed(score: Score, size: f64) -> (f64, f64) {
    let (s, q) = (BELIEF * score.product, BELIEF * score.precision);
    let tau = 1.0 / (CYLINDER_TOLERANCE * CYLINDER_TOLERANCE);
    let mean = (s + tau * size) / (q + tau);
    let log = 0.5 * ((q + tau) * mean * mean - tau * size * size) + 0.5 * (tau / (q + tau)).ln();
    (log, mean)
}

fn drift(solved: &Solved, pulls: &[&PullEvidence], scores: &[Score]) -> Option<Suspect> {
    let logs: Vec<(f64, f64, usize)> = scores
        .iter()
        .enumerate()
        .filter(|(_, score)| score.precision > 0.0)
        .map(|(pull, score)| {
            let (s, q) = (BELIEF * score.product, BELIEF * score.precision);
            let widened = 1.0 + DRIFT_SCALE * DRIFT_SCALE * q;
            let z = DRIFT_SCALE * s / widened.sqrt();
            let size = s / (q + 1.0 / (DRIFT_SCALE * DRIFT_SCALE));
            (-0.5 * widened.ln() + 0.5 * z * z, size, pull)
        })
        .collect();
    let best = logs.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let sum: f64 = logs.iter().map(|(log, ..)| (log - best.0).exp()).sum();
    let pull = solved.ranks[best.2];
    Some(Suspect {
        cause: FalseLean::SensorDrift,
        probability: best.0 + (sum / logs.len() as f64).ln(),
        pull: Some(pull),
        at_s: None,
        size: best.1,
        nodes: made_by(pulls, pull),
    })
}
