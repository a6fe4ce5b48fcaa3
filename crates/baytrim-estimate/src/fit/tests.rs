//! Checks of the fit against slower ways and published values.

mod adding;
mod dense;
mod oracles;
mod published;
mod rest;
