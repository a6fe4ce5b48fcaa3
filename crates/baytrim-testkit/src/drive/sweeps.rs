//! Fast sweeps over the speed range at fixed plates.

use super::Path;
use super::holds::plates;
use crate::random::Dice;
use crate::truth::EngineTruth;

/// Seconds of one sweep.
const SWEEP_S: f64 = 5.0;

/// Returns `count` sweeps at fixed plates in random order; `down` sweeps back, else the plate is shut
/// and the engine falls back on the overrun.
pub(super) fn sweeps(truth: &EngineTruth, dice: &mut Dice, count: usize, down: bool) -> Path {
    let low = truth.idle_rpm * 1.25;
    let high = truth.ecu.limiter_rpm * 0.985;
    let mut path = Path::default();
    let mut plates = plates(count);
    dice.shuffle(&mut plates);
    path.hold(low, plates[0], 1.0);
    for plate in plates {
        path.move_to(low, plate, 0.6);
        path.hold(low, plate, dice.uniform(1.0, 2.0));
        path.sweep_to(high, SWEEP_S * dice.uniform(0.9, 1.1));
        if down {
            path.sweep_to(low, SWEEP_S * dice.uniform(0.9, 1.1));
        }
        let top = path.rpm.last().copied().unwrap_or(low);
        path.move_to(top, 0.0, 0.2);
        path.sweep_to(low, if down { 0.6 } else { 2.5 });
    }
    path
}
