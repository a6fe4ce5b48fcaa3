//! Stores ledger bytes in one local directory.
