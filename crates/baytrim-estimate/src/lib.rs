//! Turns gated samples into corrections with their uncertainty.
