//! Decides who may do what.
//! Knows nothing of sockets, clocks, stores, wire.

pub mod caller;
pub mod decide;
pub mod refusal;
pub mod roles;
pub mod state;

pub use caller::{Caller, Denied};
pub use refusal::AccessRefusal;
pub use state::ShopState;
