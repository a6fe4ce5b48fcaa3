//! Tests the built programs from outside.
