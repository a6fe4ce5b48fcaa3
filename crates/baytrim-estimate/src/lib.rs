//! Turns gated samples into corrections with their uncertainty.
//! Knows nothing of storage, wire, clocks, async.

pub mod context;
pub mod contrast;
pub mod coverage;
pub mod delay;
pub mod evidence;
pub mod false_lean;
pub mod film;
pub mod fit;
pub mod flow;
pub mod gate;
pub mod hat;
pub mod kernel;
pub mod kind;
pub mod limit;
pub mod live;
pub mod loaded;
pub mod nearest;
pub mod plan;
pub mod points;
pub mod posterior;
pub mod read;
pub mod row;
pub mod surface;
pub mod trace;

mod block;
mod frame;
mod pipeline;
mod quality;
mod strip;
mod witness;

pub use context::PullContext;
pub use evidence::PullEvidence;
pub use false_lean::{FalseLean, Suspect, false_lean};
pub use fit::{ESTIMATOR, Fit, FitError, FitSettings, fit};
pub use kind::{NeedEvidence, Vehicle, disagreement, expected_needs, pool};
pub use live::LivePull;
pub use loaded::{LoadedAnswer, LoadedQuestion, which_loaded};
pub use plan::{FuelStep, PlanQuestion, PlanStep, PullPlan, UseMap, fuel_steps, plan_pull};
pub use points::{LambdaPoint, lambda_points};
pub use posterior::{Posterior, fit_of_kind, fit_whole};
pub use read::{PullReading, ReadError, judge_rows, read_pull};
pub use trace::{LogTrace, NodeTrace, trace_log, trace_node};
