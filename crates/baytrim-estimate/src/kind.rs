//! What vehicles of one kind tell of the next one.
//!
//! A vehicle's need is its kind's mean plus a difference of its own, whose covariance all share. What it says is its
//! evidence alone: offsets, delay and film marginalised, and no prior in it, so that nodes that it was never at tell
//! nothing. Over a coarse grid of the next vehicle's axes, with `L` and `h` a vehicle's evidence (precision and right
//! side), `D` the covariance of differences and `V0` that of the mean before any vehicle,
//!
//! ```text
//! M = (I + L D)^-1 L,   b = (I + L D)^-1 h,   V = (V0^-1 + sum M)^-1,   mean = V sum b,
//! ```
//!
//! and the next vehicle has that mean and covariance `V + D`. The sizes of `D` are averaged over their posterior, so
//! that few vehicles leave them wide.

mod evidence;
mod grid;
mod pool;
mod told;

pub use evidence::{NeedEvidence, Vehicle};
pub use pool::pool;
pub use told::{Disagreement, disagreement, expected_needs};

pub(crate) use told::Told;
