//! Turns roller readings into power and torque at standard air.
//! Knows nothing of mixture, storage, wire, clocks, async.
#![cfg_attr(
    test,
    expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")
)]

pub mod air;
pub mod compare;
pub mod curve;
pub mod drift;
pub mod roller;
pub mod slope;
pub mod standard;
pub mod student;

pub use air::{AirError, AmbientAir};
pub use compare::{Comparison, Verdict, compare};
pub use curve::{CurvePoint, PowerCurve, power_curve};
pub use drift::{Drift, TimedPull, drift};
pub use roller::{RollerError, RollerTrace, power_from_inertia, power_from_torque};
pub use standard::{Correction, OutOfValidity, Standard, correct};
