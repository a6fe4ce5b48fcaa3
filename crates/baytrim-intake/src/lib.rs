//! Turns log files into samples.
