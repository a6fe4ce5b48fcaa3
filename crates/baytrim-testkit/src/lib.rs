//! Makes engines whose truth is known.
