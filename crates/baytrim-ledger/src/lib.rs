//! Keeps records in order, unchanged, and provably so.
