//! Tells how an engine answers the rider's hand.
//! Knows nothing of fuel tables, storage, wire, clocks, async.
#![cfg_attr(
    test,
    expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")
)]

pub mod contradiction;
pub mod cubic;
pub mod delivery;
pub mod grid;
#[cfg(test)]
mod oracle;
pub mod overrun;
pub mod secondary_air;
pub mod slopes;
pub mod stay;
pub mod table;

pub use contradiction::{Contradiction, Recorded, RecordedAir, RecordedCut, contradictions};
pub use cubic::MonotoneCubic;
pub use delivery::{Delivery, Estimate, Gain, GripPoint, delivery, mean_of};
pub use overrun::{OverrunCut, overrun_cut};
pub use secondary_air::{SecondaryAir, secondary_air};
pub use stay::{GRIP_STEP_PERCENT, STAYS_MAX, Stay, StayRules, pull_grip, stays};
pub use table::{GripTable, RollOff, RulesError, TableRules, propose};
