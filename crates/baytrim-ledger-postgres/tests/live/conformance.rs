//! The suite for all stores.

use crate::support::InPlace;

baytrim_ledger::conformance_tests!(|| InPlace::new(None));
