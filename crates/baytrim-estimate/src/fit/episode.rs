//! Divides the blocks of all pulls into dwell episodes.
//!
//! An episode is a stay near one place for a short time. Readings of one episode share an offset
//! that a longer stay does not average away.

use baytrim_model::axis::Axes;

use crate::evidence::{Block, PullEvidence};
use crate::film::FILM_TERMS;

use super::noise::RowNoise;
use super::order::Order;

/// An episode lasts at least so long, unless the place is left far behind: what makes visits differ
/// (temperatures, the state of the walls) does not change in less. Seconds.
const EPISODE_S_MIN: f64 = 2.0;
/// Beyond that time the next place this far away is another visit, cells along either axis.
const REACH_CELLS: f64 = 1.0;
/// A place this far away is another visit at once, cells along either axis.
const REACH_CELLS_MAX: f64 = 4.0;
/// Share of the time in an episode that its blocks are merged to: a long stay says little more.
const MERGE_SHARE: f64 = 0.1;
/// Widest footprint of a block that the fit uses, cells along either axis.
const WIDTH_CELLS_MAX: usize = 6;

/// One block, ready for the equations.
#[derive(Debug, Clone)]
pub(crate) struct Observation {
    /// Log fuel need.
    pub(crate) need: f64,
    /// Middle of the observation, seconds since the pull began.
    pub(crate) mid_s: f64,
    /// Delay and lag, seconds.
    pub(crate) delay_s: f64,
    /// What a delay longer by its own length would add to the need: minus its rate of change times the delay.
    pub(crate) late: f64,
    /// Film regressors.
    pub(crate) film: [f64; FILM_TERMS],
    /// Blocks of the usual length that were merged into it.
    pub(crate) blocks: f64,
    /// Blocks of the usual length since the block before, when it is in the same episode.
    pub(crate) steps: Option<f64>,
    /// Its entries in [`Episodes::footprint`].
    pub(crate) start: usize,
    pub(crate) end: usize,
    /// Weight of the block after a look at its residual, 0 to 1.
    pub(crate) weight: f64,
}

impl Observation {
    /// Returns what its noise depends on.
    pub(crate) fn noise(&self) -> RowNoise {
        RowNoise {
            steps: self.steps,
            blocks: self.blocks,
            weight: self.weight,
        }
    }
}

/// A stay near one place.
#[derive(Debug, Clone)]
pub(crate) struct Episode {
    pub(crate) pull: usize,
    /// Its observations.
    pub(crate) start: usize,
    pub(crate) end: usize,
    /// Positions of the nodes that it speaks of, increasing.
    pub(crate) places: Vec<usize>,
    /// Weight of the episode's offset after a look at it, 0 to 1.
    pub(crate) weight: f64,
}

/// All blocks of all pulls by episode.
#[derive(Debug, Clone, Default)]
pub(crate) struct Episodes {
    pub(crate) observations: Vec<Observation>,
    /// (position among the places of the episode, share) of every observation, one after the other.
    pub(crate) footprint: Vec<(usize, f64)>,
    pub(crate) stays: Vec<Episode>,
    /// Blocks whose footprint was too wide to use.
    pub(crate) too_wide: u64,
}

/// Usual time from one block to the next, seconds.
pub(crate) const STEP_S: f64 = 0.2;

struct Centre {
    rpm: f64,
    plate: f64,
    width: usize,
}

impl Open {
    fn is_left(&self, mid_s: f64, here: &Centre) -> bool {
        let away = (here.rpm - self.place.rpm)
            .abs()
            .max((here.plate - self.place.plate).abs());
        away > REACH_CELLS_MAX || (away > REACH_CELLS && mid_s - self.start_s >= EPISODE_S_MIN)
    }
}

fn centre(axes: &Axes, footprint: &[(u16, f32)]) -> Centre {
    let (mut rpm, mut plate) = (0.0, 0.0);
    let (mut low, mut high) = ((usize::MAX, usize::MAX), (0, 0));
    for &(node, share) in footprint {
        let (i, j) = axes.indices(usize::from(node));
        rpm += i as f64 * f64::from(share);
        plate += j as f64 * f64::from(share);
        if share > 0.1 {
            low = (low.0.min(i), low.1.min(j));
            high = (high.0.max(i), high.1.max(j));
        }
    }
    let width = high
        .0
        .saturating_sub(low.0)
        .max(high.1.saturating_sub(low.1));
    Centre { rpm, plate, width }
}

/// The episode that is being gathered.
struct Open {
    start_s: f64,
    place: Centre,
    last_mid_s: f64,
    /// The observation that blocks are being merged into.
    merged: Option<Merged>,
}

/// Blocks of one footprint's neighbourhood, summed with their lengths as weights.
struct Merged {
    length_s: f64,
    mid_s: f64,
    delay_s: f64,
    need: f64,
    film: [f64; FILM_TERMS],
    footprint: Vec<(usize, f64)>,
}

impl Merged {
    fn add(&mut self, order: &Order, block: &Block, footprint: &[(u16, f32)]) {
        let weight = f64::from(block.length_s);
        self.length_s += weight;
        self.mid_s += weight * f64::from(block.mid_s);
        self.need += weight * f64::from(block.need);
        self.delay_s += weight * f64::from(block.delay_s);
        for (sum, term) in self.film.iter_mut().zip(block.film) {
            *sum += weight * f64::from(term);
        }
        for &(node, share) in footprint {
            let position = order.position[usize::from(node)];
            let add = weight * f64::from(share);
            match self
                .footprint
                .iter_mut()
                .find(|(place, _)| *place == position)
            {
                Some((_, sum)) => *sum += add,
                None => self.footprint.push((position, add)),
            }
        }
    }
}

impl Episodes {
    /// Divides the blocks of `pulls`.
    pub(crate) fn new(axes: &Axes, order: &Order, pulls: &[&PullEvidence]) -> Self {
        let mut all = Self::default();
        for (pull, evidence) in pulls.iter().enumerate() {
            let mut open: Option<Open> = None;
            for (block, footprint) in evidence.blocks() {
                let here = centre(axes, footprint);
                if here.width > WIDTH_CELLS_MAX || footprint.is_empty() {
                    all.too_wide += 1;
                    all.close(open.take());
                    continue;
                }
                let mid_s = f64::from(block.mid_s);
                if open
                    .as_ref()
                    .is_some_and(|open| block.begins || open.is_left(mid_s, &here))
                {
                    all.close(open.take());
                }
                let now = open.get_or_insert_with(|| {
                    all.begin(pull);
                    Open {
                        start_s: mid_s,
                        place: here,
                        last_mid_s: f64::NAN,
                        merged: None,
                    }
                });
                let merged = now.merged.get_or_insert_with(|| Merged {
                    length_s: 0.0,
                    mid_s: 0.0,
                    delay_s: 0.0,
                    need: 0.0,
                    film: [0.0; FILM_TERMS],
                    footprint: Vec::new(),
                });
                merged.add(order, block, footprint);
                if merged.length_s >= MERGE_SHARE * (mid_s - now.start_s) {
                    all.take(now);
                }
            }
            all.close(open.take());
        }
        all.gather_places();
        all
    }

    fn begin(&mut self, pull: usize) {
        let start = self.observations.len();
        self.stays.push(Episode {
            pull,
            start,
            end: start,
            places: Vec::new(),
            weight: 1.0,
        });
    }

    fn close(&mut self, open: Option<Open>) {
        if let Some(mut open) = open {
            self.take(&mut open);
        }
    }

    /// Makes an observation of the blocks that were merged.
    fn take(&mut self, open: &mut Open) {
        let Some(mut merged) = open.merged.take() else {
            return;
        };
        let start = self.footprint.len();
        merged.footprint.sort_unstable_by_key(|&(place, _)| place);
        let total = merged.length_s;
        self.footprint.extend(
            merged
                .footprint
                .iter()
                .map(|&(place, sum)| (place, sum / total)),
        );
        let mid_s = merged.mid_s / total;
        let steps = ((mid_s - open.last_mid_s) / STEP_S).max(0.05);
        self.observations.push(Observation {
            need: merged.need / total,
            mid_s,
            delay_s: merged.delay_s / total,
            late: 0.0,
            film: merged.film.map(|sum| sum / total),
            blocks: (total / STEP_S).max(1.0),
            steps: open.last_mid_s.is_finite().then_some(steps),
            start,
            end: self.footprint.len(),
            weight: 1.0,
        });
        open.last_mid_s = mid_s;
        if let Some(episode) = self.stays.last_mut() {
            episode.end = self.observations.len();
        }
    }

    fn gather_places(&mut self) {
        for episode in &mut self.stays {
            let range =
                self.observations[episode.start].start..self.observations[episode.end - 1].end;
            let entries = &mut self.footprint[range];
            let mut places: Vec<usize> = entries.iter().map(|&(place, _)| place).collect();
            places.sort_unstable();
            places.dedup();
            for (place, _) in entries {
                *place = places.binary_search(place).unwrap_or(0);
            }
            episode.places = places;
        }
    }

    /// Returns the first column of each row of an envelope that holds every pair of nodes that an
    /// episode or the prior ties together.
    pub(crate) fn envelope(&self, axes: &Axes, order: &Order) -> Vec<usize> {
        self.envelope_in(axes, order, |place| place)
    }

    /// Returns [`Self::envelope`] for another order, in which what stands at `place` here stands at `moved(place)`.
    pub(crate) fn envelope_in(
        &self,
        axes: &Axes,
        order: &Order,
        moved: impl Fn(usize) -> usize,
    ) -> Vec<usize> {
        let mut first = super::prior::own_envelope(axes, order);
        for episode in &self.stays {
            let places = || episode.places.iter().map(|&place| moved(place));
            let low = places().min().unwrap_or(0);
            for place in places() {
                first[place] = first[place].min(low);
            }
        }
        first
    }
}

/// Longest time over which a rate of change is taken, seconds.
const RATE_S_MAX: f64 = 0.7;

impl Episodes {
    /// Returns what `theta` (by position) and the film coefficients make of every observation.
    fn predicted(&self, theta: &[f64], film: &[f64]) -> Vec<f64> {
        let mut predicted = Vec::with_capacity(self.observations.len());
        for episode in &self.stays {
            for observation in &self.observations[episode.start..episode.end] {
                let surface: f64 = self.footprint[observation.start..observation.end]
                    .iter()
                    .map(|&(place, share)| share * theta[episode.places[place]])
                    .sum();
                let films: f64 = observation
                    .film
                    .iter()
                    .zip(film)
                    .map(|(term, x)| term * x)
                    .sum();
                predicted.push(surface + films);
            }
        }
        predicted
    }

    /// Works out what an error of the delay would do to every observation: with y(t) = p(t - d), an error
    /// e d adds -e d p'(t), where p' is taken between the observations before and after.
    pub(crate) fn learn_delay(&mut self, theta: &[f64], film: &[f64]) {
        let predicted = self.predicted(theta, film);
        let mut pull = vec![0; self.observations.len()];
        for episode in &self.stays {
            pull[episode.start..episode.end].fill(episode.pull);
        }
        let last = self.observations.len().saturating_sub(1);
        for index in 0..self.observations.len() {
            let mid_s = self.observations[index].mid_s;
            let near = |other: usize| {
                pull[other] == pull[index]
                    && (self.observations[other].mid_s - mid_s).abs() <= RATE_S_MAX
            };
            let before = if index > 0 && near(index - 1) {
                index - 1
            } else {
                index
            };
            let after = if index < last && near(index + 1) {
                index + 1
            } else {
                index
            };
            let span_s = self.observations[after].mid_s - self.observations[before].mid_s;
            let rate = if span_s > 1e-3 {
                (predicted[after] - predicted[before]) / span_s
            } else {
                0.0
            };
            self.observations[index].late = -rate * self.observations[index].delay_s;
        }
    }
}
