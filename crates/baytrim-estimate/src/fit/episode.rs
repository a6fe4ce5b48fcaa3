//! Divides the blocks of all pulls into dwell episodes.
//!
//! An episode is a stay near one place for a short time. Readings of one episode share an offset
//! that a longer stay does not average away.

use baytrim_model::axis::Axes;

use crate::evidence::PullEvidence;
use crate::film::FILM_TERMS;

use super::order::Order;

/// Longest episode, seconds.
const EPISODE_S_MAX: f64 = 2.0;
/// How far the centre of the footprint may wander in an episode, cells along either axis.
const REACH_CELLS: f64 = 1.25;
/// Widest footprint of a block that the fit uses, cells along either axis.
const WIDTH_CELLS_MAX: usize = 6;

/// One block, ready for the equations.
#[derive(Debug, Clone)]
pub(crate) struct Observation {
    /// Log fuel need.
    pub(crate) need: f64,
    /// Film regressors.
    pub(crate) film: [f64; FILM_TERMS],
    /// Blocks of the usual length since the block before, when it is in the same episode.
    pub(crate) steps: Option<f64>,
    /// Its entries in [`Episodes::footprint`].
    pub(crate) start: usize,
    pub(crate) end: usize,
    /// Weight of the block after a look at its residual, 0 to 1.
    pub(crate) weight: f64,
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
    pub(crate) episodes: Vec<Episode>,
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

fn centre(axes: &Axes, footprint: &[(u16, f32)]) -> Centre {
    let (mut rpm, mut plate) = (0.0, 0.0);
    let (mut low, mut high) = ((usize::MAX, usize::MAX), (0, 0));
    for &(node, share) in footprint {
        let (i, j) = axes.indices(usize::from(node));
        rpm += i as f64 * f64::from(share);
        plate += j as f64 * f64::from(share);
        if share > 0.01 {
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

impl Episodes {
    /// Divides the blocks of `pulls`.
    pub(crate) fn new(axes: &Axes, order: &Order, pulls: &[&PullEvidence]) -> Self {
        let mut all = Self::default();
        for (pull, evidence) in pulls.iter().enumerate() {
            let mut begun: Option<(f64, Centre)> = None;
            let mut last_s = 0.0;
            for (block, footprint) in evidence.blocks() {
                let here = centre(axes, footprint);
                if here.width > WIDTH_CELLS_MAX || footprint.is_empty() {
                    all.too_wide += 1;
                    begun = None;
                    continue;
                }
                let mid_s = f64::from(block.mid_s);
                let goes_on = begun.as_ref().is_some_and(|(start_s, place)| {
                    !block.begins
                        && mid_s - start_s < EPISODE_S_MAX
                        && (here.rpm - place.rpm).abs() < REACH_CELLS
                        && (here.plate - place.plate).abs() < REACH_CELLS
                });
                let steps = goes_on.then(|| ((mid_s - last_s) / STEP_S).max(0.05));
                if !goes_on {
                    let start = all.observations.len();
                    all.episodes.push(Episode {
                        pull,
                        start,
                        end: start,
                        places: Vec::new(),
                        weight: 1.0,
                    });
                    begun = Some((mid_s, here));
                }
                last_s = mid_s;
                let start = all.footprint.len();
                all.footprint.extend(
                    footprint.iter().map(|&(node, share)| {
                        (order.position[usize::from(node)], f64::from(share))
                    }),
                );
                all.observations.push(Observation {
                    need: f64::from(block.need),
                    film: block.film.map(f64::from),
                    steps,
                    start,
                    end: all.footprint.len(),
                    weight: 1.0,
                });
                if let Some(episode) = all.episodes.last_mut() {
                    episode.end = all.observations.len();
                }
            }
        }
        all.gather_places();
        all
    }

    fn gather_places(&mut self) {
        for episode in &mut self.episodes {
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
        let mut first: Vec<usize> = (0..axes.node_count()).collect();
        for (_, nodes, _) in super::prior::differences(axes) {
            let places = nodes.map(|node| order.position[node]);
            let low = places[0].min(places[1]).min(places[2]);
            for place in places {
                first[place] = first[place].min(low);
            }
        }
        for episode in &self.episodes {
            for &place in &episode.places {
                first[place] = first[place].min(episode.places[0]);
            }
        }
        first
    }
}
