//! Makes engines whose truth is known.
//! Knows nothing of storage, wire, estimation.

pub mod air;
pub mod bay;
pub mod closed_loop;
pub mod csv;
pub mod demo;
pub mod drive;
pub mod ecu;
pub mod exhaust;
pub mod faults;
pub mod film;
pub mod grid;
pub mod hand;
pub mod job_file;
pub mod noise;
pub mod random;
pub mod roller;
pub mod sensor;
pub mod simulate;
pub mod surface;
pub mod truth;
