//! Misfires, by counting short strays.

use crate::evidence::PullEvidence;
use crate::fit::Solved;

use super::{FalseLean, Suspect};

/// Lean bursts a second of a sound engine: the most that sound simulated engines show.
const BURSTS_SOUND_PER_S: f64 = 0.02;
/// A misfiring engine has so many times that.
const BURSTS_FACTOR: f64 = 6.0;
/// A reading strays when it is so many standard deviations off.
const STRAYS: f64 = 3.5;
/// A stray that lasts longer is no burst, seconds.
const BURST_S_MAX: f64 = 2.0;

/// Counts lean bursts less rich ones and holds them against the rates of sound and of misfiring engines.
pub(super) fn misfire(solved: &Solved, pulls: &[&PullEvidence]) -> Option<Suspect> {
    let mut best: Option<Suspect> = None;
    for (place, &pull) in solved.ranks.iter().enumerate() {
        let strays = strays(solved, place, pulls[pull]);
        // A misfire goes on: what strays in one half of a pull only is a step.
        let half = |half: usize| f64::from(strays.lean[half]) - f64::from(strays.rich[half]);
        let excess = 2.0 * half(0).min(half(1)).max(0.0);
        let (sound, sick) = (
            BURSTS_SOUND_PER_S * strays.seconds,
            BURSTS_FACTOR * BURSTS_SOUND_PER_S * strays.seconds,
        );
        let log = excess * BURSTS_FACTOR.ln() - (sick - sound);
        if best.as_ref().is_none_or(|best| log > best.probability) {
            best = Some(Suspect {
                cause: FalseLean::Misfire,
                probability: log,
                pull: Some(pull),
                at_s: None,
                size: strays.lean_s / strays.seconds.max(1.0),
                nodes: strays.nodes,
            });
        }
    }
    best
}

/// Readings of a pull that stray from the fit.
#[derive(Debug, Default)]
struct Strays {
    seconds: f64,
    /// Bursts in either half of the pull.
    lean: [u32; 2],
    rich: [u32; 2],
    lean_s: f64,
    nodes: Vec<usize>,
}

fn strays(solved: &Solved, pull: usize, evidence: &PullEvidence) -> Strays {
    let theta = solved.by_node(&solved.solution.theta);
    let film = solved.film();
    let offset = solved.solution.border[pull];
    let limit = STRAYS * (solved.noise.block.hypot(solved.noise.episode));
    let mut strays = Strays::default();
    let mut touched = vec![false; theta.len()];
    // Side and length of the stray that goes on.
    let mut open = (0_i8, 0.0);
    let close = |open: &mut (i8, f64), half: usize, strays: &mut Strays| {
        let is_burst = open.1 > 0.0 && open.1 < BURST_S_MAX;
        strays.lean[half] += u32::from(is_burst && open.0 == 1);
        strays.rich[half] += u32::from(is_burst && open.0 == -1);
        strays.lean_s += if is_burst && open.0 == 1 { open.1 } else { 0.0 };
        *open = (0, 0.0);
    };
    let middle = evidence.block_count() / 2;
    for (index, (block, footprint)) in evidence.blocks().enumerate() {
        let surface: f64 = footprint
            .iter()
            .map(|&(node, share)| f64::from(share) * theta[usize::from(node)])
            .sum();
        let films = block.film.iter().zip(film);
        let films: f64 = films.map(|(term, x)| f64::from(*term) * x).sum();
        let left = f64::from(block.need) - offset - surface - films;
        strays.seconds += f64::from(block.length_s);
        let side = i8::from(left > limit) - i8::from(left < -limit);
        if side != open.0 {
            close(&mut open, usize::from(index > middle), &mut strays);
            open.0 = side;
        }
        if side != 0 {
            open.1 += f64::from(block.length_s);
        }
        if side == 1 {
            for &(node, share) in footprint {
                touched[usize::from(node)] |= share > 0.2;
            }
        }
    }
    close(&mut open, 1, &mut strays);
    strays.nodes = (0..touched.len()).filter(|&node| touched[node]).collect();
    strays
}
