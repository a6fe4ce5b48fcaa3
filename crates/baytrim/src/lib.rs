//! Drives the API from a terminal.
