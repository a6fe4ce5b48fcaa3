//! Checks of the fit against slower ways and published values.

mod dense;
mod oracles;
mod published;
