//! The limiter against rules written down a second time, without its own code.

mod cases;
mod golden;
mod oracle;
mod partial;
mod properties;
mod refusals;
mod rules;
