//! One more pull beside those that were fitted, with its readings shifted.

use baytrim_model::axis::Axes;

use crate::evidence::PullEvidence;

use super::Solved;
use super::border_prior;
use super::envelope::Envelope;
use super::episode::Episodes;
use super::noise::Noise;
use super::normal::{Normal, film_start};
use super::prior::Smoothness;

/// The pulls of a fit and one more, the last.
#[derive(Debug, Clone)]
pub(crate) struct Joint {
    position: Vec<usize>,
    episodes: Episodes,
    pulls: usize,
    noise: Noise,
    zero: Envelope,
    prior: Envelope,
    border_prior: Vec<(f64, f64)>,
}

impl Joint {
    /// Puts `pull`, fitted alone as `own`, beside the pulls of `before`; its offset has `offset_sd`.
    pub(crate) fn new(
        axes: &Axes,
        earlier: &[&PullEvidence],
        before: &Solved,
        pull: &PullEvidence,
        own: &Solved,
        offset_sd: f64,
    ) -> Self {
        let mut pulls: Vec<&PullEvidence> =
            before.ranks.iter().map(|&rank| earlier[rank]).collect();
        pulls.push(pull);
        let order = &before.order;
        let mut episodes = Episodes::new(axes, order, &pulls);
        let weighed = before.episodes.observations.iter();
        let weighed = weighed.chain(&own.episodes.observations);
        for (observation, weighed) in episodes.observations.iter_mut().zip(weighed) {
            observation.weight = weighed.weight;
        }
        let weighed = before.episodes.stays.iter().chain(&own.episodes.stays);
        for (stay, weighed) in episodes.stays.iter_mut().zip(weighed) {
            stay.weight = weighed.weight;
        }
        let film = &before.solution.border.as_slice()[film_start(pulls.len() - 1)..];
        episodes.learn_delay(&before.solution.theta, film);
        // A pull of another kind may be noisier than those before it.
        let noise = Noise {
            block: before.noise.block.max(own.noise.block),
            episode: before.noise.episode.max(own.noise.episode),
            ..before.noise
        };
        let zero = Envelope::zero(episodes.envelope(axes, order));
        let prior = Smoothness::new(axes, order, &zero).of_sd(before.difference_sd);
        let mut border_prior = border_prior(&pulls, &noise);
        border_prior[pulls.len() - 1] = (0.0, 1.0 / (offset_sd * offset_sd));
        Self {
            position: order.position.clone(),
            episodes,
            pulls: pulls.len(),
            noise,
            zero,
            prior,
            border_prior,
        }
    }

    /// Returns the smallest sum of weighted squares of all pulls, save for a constant, with `shift`, in node
    /// order, added to what the last pull's readings say; none where the equations cannot be solved.
    pub(crate) fn square(&self, shift: &[f64]) -> Option<f64> {
        let mut by_position = vec![0.0; shift.len()];
        for (&place, &value) in self.position.iter().zip(shift) {
            by_position[place] = value;
        }
        let mut episodes = self.episodes.clone();
        let last = self.pulls - 1;
        for stay in episodes.stays.iter().filter(|stay| stay.pull == last) {
            for observation in &mut episodes.observations[stay.start..stay.end] {
                let footprint = &episodes.footprint[observation.start..observation.end];
                let shares = footprint.iter();
                observation.need += shares
                    .map(|&(place, share)| share * by_position[stay.places[place]])
                    .sum::<f64>();
            }
        }
        Normal::sum(&episodes, self.pulls, &self.noise, &self.zero).badness(
            &self.prior,
            0.0,
            &self.border_prior,
        )
    }
}
