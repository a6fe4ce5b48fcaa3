//! Reading pulls and fitting them, from the outside.

mod anything;
mod job;
mod plain;
mod rows;
mod simulated;
