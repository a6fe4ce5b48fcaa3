//! Steady holds.

use super::Path;
use crate::random::Dice;
use crate::truth::EngineTruth;

/// Lowest and highest speed of holds: off idle, and short of the limiter.
fn speed_range(truth: &EngineTruth) -> (f64, f64) {
    let top = truth.ecu.limiter_rpm;
    (truth.idle_rpm * 1.15, top * 0.97)
}

/// Returns `count` plates from 2 to 100 percent, dense at small openings.
pub(super) fn plates(count: usize) -> Vec<f64> {
    (0..count)
        .map(|index| {
            let share = index as f64 / (count - 1) as f64;
            let root = libm::sqrt(2.0) + share * (10.0 - libm::sqrt(2.0));
            root * root
        })
        .collect()
}

fn hold_at(path: &mut Path, dice: &mut Dice, rpm: f64, plate_percent: f64) {
    if path.is_empty() {
        path.hold(rpm, plate_percent, 2.0);
    } else {
        path.move_to(rpm, plate_percent, dice.uniform(0.7, 1.3));
    }
    path.hold(rpm, plate_percent, dice.uniform(4.5, 6.5));
}

/// Returns holds on a grid of speeds by plates, plate by plate, to and fro along speed,
/// each a little off the grid.
pub(super) fn grid(
    truth: &EngineTruth,
    dice: &mut Dice,
    speeds: usize,
    plate_count: usize,
) -> Path {
    let (low, high) = speed_range(truth);
    let mut path = Path::default();
    let mut plates = plates(plate_count);
    if dice.chance(0.5) {
        plates.reverse();
    }
    for (row, plate) in plates.into_iter().enumerate() {
        for column in 0..speeds {
            let column = if row % 2 == 0 {
                column
            } else {
                speeds - 1 - column
            };
            let share = (column as f64 + dice.uniform(0.2, 0.8)) / speeds as f64;
            let plate = (plate * dice.uniform(0.93, 1.07)).min(100.0);
            hold_at(&mut path, dice, low + share * (high - low), plate);
        }
    }
    path
}

/// Returns `count` holds anywhere, each plate range visited about equally.
pub(super) fn scattered(truth: &EngineTruth, dice: &mut Dice, count: usize) -> Path {
    let (low, high) = speed_range(truth);
    let mut path = Path::default();
    let mut plates = plates(count);
    dice.shuffle(&mut plates);
    for plate in plates {
        let rpm = dice.uniform(low, high);
        hold_at(&mut path, dice, rpm, plate);
    }
    path
}

/// Returns four holds with the fuel stepped by 8 % up and down, three seconds each.
pub(super) fn fuel_steps(truth: &EngineTruth, dice: &mut Dice) -> Path {
    let (low, high) = speed_range(truth);
    let mut path = Path::default();
    for (share, plate) in [(0.15, 8.0), (0.35, 20.0), (0.55, 45.0), (0.8, 90.0)] {
        let rpm = low + (high - low) * (share + dice.uniform(-0.05, 0.05));
        hold_at(&mut path, dice, rpm, plate);
        for factor in [1.08, 1.0, 0.92, 1.0, 1.08, 0.92, 1.0] {
            path.hold(rpm, plate, 3.0);
            let begin = path.len() - 300;
            path.fuel_step_log[begin..].fill(libm::log(factor));
        }
    }
    path
}
