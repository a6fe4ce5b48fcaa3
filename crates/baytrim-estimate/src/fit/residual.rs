//! A look at what the fit leaves over: noise, offsets and bad readings.

use super::envelope::dot;
use super::episode::Episodes;
use super::noise::{
    BLOCK_RANGE, CORRELATION_RANGE, EFFECTS, EPISODE_RANGE, Effects, FILM_RANGE, Noise,
    small_backward, small_forward,
};
use super::normal::{Columns, LOCAL_BORDER, Solution};

/// Standardised size from which a reading or an episode loses weight (Huber).
const HUBER: f64 = 2.5;

/// Improves the noise's sizes and the robust weights from the residuals of `solution`.
pub(crate) fn improve(all: &mut Episodes, solution: &Solution, pulls: usize, noise: &mut Noise) {
    let mut columns = Columns::default();
    let mut film_square = 0.0;
    let mut film_count = 0.0;
    let mut offset_square = 0.0;
    let mut offset_count = 0.0;
    let mut fast = 0.0;
    let mut fast_count = 0.0;
    let mut lagged = 0.0;
    let mut lagged_base = 0.0;
    for index in 0..all.episodes.len() {
        let episode = all.episodes[index].clone();
        columns.fill(all, &episode, noise);
        let rows = columns.rows;
        let places = episode.places.len();
        let mut residual = columns.fixed[(places + LOCAL_BORDER) * rows..].to_vec();
        for (local, column) in columns
            .fixed
            .chunks_exact(rows)
            .enumerate()
            .take(places + LOCAL_BORDER)
        {
            let value = if local < places {
                solution.theta[episode.places[local]]
            } else if local == places {
                solution.border[episode.pull]
            } else {
                solution.border[pulls + local - places - 1]
            };
            for (slot, entry) in residual.iter_mut().zip(column) {
                *slot -= value * entry;
            }
        }
        let effects = Effects::new(noise, episode.weight, &columns.effects, rows);
        let mut found = [0.0; EFFECTS];
        for (slot, effect) in found.iter_mut().zip(columns.effects.chunks_exact(rows)) {
            *slot = dot(effect, &residual);
        }
        small_forward(&effects.factor, &mut found);
        small_backward(&effects.factor, &mut found);
        let mut variance = [0.0; EFFECTS];
        for (effect, slot) in variance.iter_mut().enumerate() {
            let mut unit = [0.0; EFFECTS];
            unit[effect] = 1.0;
            small_forward(&effects.factor, &mut unit);
            *slot = unit.iter().map(|value| value * value).sum();
        }
        let offset = found[0] * found[0] + variance[0];
        offset_square += episode.weight * offset;
        offset_count += 1.0;
        for effect in 1..EFFECTS {
            film_square += episode.weight * (found[effect] * found[effect] + variance[effect]);
            film_count += 1.0;
        }
        all.episodes[index].weight = (HUBER * noise.episode / found[0].abs().max(1e-12))
            .min(1.0)
            .max(0.02);
        for (effect, column) in columns.effects.chunks_exact(rows).enumerate() {
            for (slot, entry) in residual.iter_mut().zip(column) {
                *slot -= found[effect] * entry;
            }
        }
        // What is left is white but for a correlation that the present one misses.
        let freedom = rows as f64 - 1.0;
        if rows > 2 {
            fast += dot(&residual, &residual);
            fast_count += freedom;
            lagged += dot(&residual[1..], &residual[..rows - 1])
                + 1.0 * (rows as f64 - 1.0) / rows as f64;
            lagged_base += freedom;
        }
        for (row, value) in residual.iter().enumerate() {
            all.observations[episode.start + row].weight =
                (HUBER / value.abs().max(1e-12)).min(1.0);
        }
    }
    if fast_count > 5.0 {
        let scale = fast / fast_count;
        noise.block = (noise.block * scale.sqrt()).clamp(BLOCK_RANGE.0, BLOCK_RANGE.1);
        let missed = lagged / lagged_base / scale;
        noise.correlation =
            (noise.correlation + 0.7 * missed).clamp(CORRELATION_RANGE.0, CORRELATION_RANGE.1);
    }
    if offset_count > 5.0 {
        noise.episode = (offset_square / offset_count)
            .sqrt()
            .clamp(EPISODE_RANGE.0, EPISODE_RANGE.1);
        noise.film = (film_square / film_count)
            .sqrt()
            .clamp(FILM_RANGE.0, FILM_RANGE.1);
    }
}
