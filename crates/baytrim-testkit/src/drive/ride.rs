//! Riding as on the road, from a small model of a vehicle.

use super::{PATH_STEP_S, Path, Wander};
use crate::random::Dice;
use crate::truth::EngineTruth;

/// Speed ratios of the gears over top gear.
const GEARS: [f64; 6] = [2.6, 1.9, 1.5, 1.25, 1.1, 1.0];
/// Seconds of torque cut of a gear change.
const SHIFT_CUT_S: f64 = 0.06;

/// How far a rider's hand wanders about what it is after, in root of plate percent.
const HAND: f64 = 0.4;

/// What the rider is after.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Wish {
    plate_percent: f64,
    plate_rate: f64,
    until_s: f64,
    shift_up_rpm: f64,
}

fn next_wish(truth: &EngineTruth, dice: &mut Dice, now_s: f64) -> Wish {
    let span = truth.ecu.limiter_rpm - truth.idle_rpm;
    let (plate, lasts_s, shift_share) = match dice.index(21) {
        // Cruising.
        0..=8 => {
            let root = dice.uniform(2.2, 5.2);
            (
                root * root,
                dice.uniform(1.0, 5.0),
                dice.uniform(0.35, 0.65),
            )
        }
        // Pulling on.
        9..=13 => (
            dice.uniform(25.0, 70.0),
            dice.uniform(0.8, 3.0),
            dice.uniform(0.5, 0.85),
        ),
        // Wide open.
        14..=15 => (100.0, dice.uniform(1.5, 5.0), dice.uniform(0.8, 1.01)),
        // Shut.
        16..=18 => (0.0, dice.uniform(0.5, 3.0), 0.6),
        // Rolling to a halt, and idling.
        19 => (0.0, dice.uniform(5.0, 9.0), 0.6),
        // Barely open.
        _ => (dice.uniform(1.5, 5.0), dice.uniform(1.0, 4.0), 0.5),
    };
    Wish {
        plate_percent: plate,
        plate_rate: dice.uniform(25.0, 220.0),
        until_s: now_s + lasts_s,
        shift_up_rpm: truth.idle_rpm + shift_share * span,
    }
}

/// Returns the plate that a hand holds which is after `plate`; shut and wide open are stops.
fn held_plate(plate: f64, hand: f64) -> f64 {
    if !(0.5..=99.0).contains(&plate) {
        return plate;
    }
    let root = libm::sqrt(plate) + HAND * hand;
    (root * root.max(0.0)).clamp(0.0, 100.0)
}

/// Returns `duration_s` of riding.
pub(super) fn ride(truth: &EngineTruth, dice: &mut Dice, duration_s: f64) -> Path {
    let mut path = Path::default();
    let low_rpm = truth.idle_rpm * 1.5;
    let mut gear = 2;
    let mut rpm = low_rpm * 1.6;
    let mut plate = 8.0;
    let mut wish = next_wish(truth, dice, 0.0);
    // Top gear goes through the whole range in about 20 s at full filling.
    let pull = truth.ecu.limiter_rpm / 14.0;
    let mut cut_until_s = f64::NEG_INFINITY;
    let mut shifted_s = f64::NEG_INFINITY;
    let mut rpm_aim = rpm;
    let mut hand = Wander::new(0.7);
    let steps = super::step_count(duration_s);
    for step in 0..steps {
        let now_s = step as f64 * PATH_STEP_S;
        if now_s >= wish.until_s {
            wish = next_wish(truth, dice, now_s);
        }
        let cutting = now_s < cut_until_s;
        let change = wish.plate_rate * PATH_STEP_S;
        plate += (wish.plate_percent - plate).clamp(-change, change);
        let torque = if cutting {
            0.0
        } else {
            truth.air.filling(rpm, plate)
        } - 0.13;
        let ratio = GEARS[gear];
        let road = rpm / ratio / truth.ecu.limiter_rpm;
        let drag = 0.02 + 0.5 * road * road;
        rpm_aim += ratio * ratio * pull * (torque - drag / ratio) * PATH_STEP_S;
        rpm_aim = rpm_aim.clamp(truth.idle_rpm, truth.ecu.limiter_rpm + 60.0);
        // After a change of gear the clutch needs a moment to bring speeds together.
        let grip_s = if now_s - shifted_s < 0.5 { 0.06 } else { 0.01 };
        rpm += (rpm_aim - rpm) * (PATH_STEP_S / grip_s).min(1.0);
        path.push(rpm, held_plate(plate, hand.next(dice)));
        if cutting && let Some(flag) = path.shift.last_mut() {
            *flag = true;
        }
        let settled = now_s - shifted_s > 0.8;
        let up = settled && gear + 1 < GEARS.len() && rpm > wish.shift_up_rpm && plate > 3.0;
        let down = settled && gear > 0 && rpm < low_rpm;
        if up {
            rpm_aim *= GEARS[gear + 1] / GEARS[gear];
            gear += 1;
            cut_until_s = now_s + SHIFT_CUT_S;
            shifted_s = now_s;
        } else if down {
            rpm_aim *= GEARS[gear - 1] / GEARS[gear];
            gear -= 1;
            shifted_s = now_s;
        }
    }
    path
}
