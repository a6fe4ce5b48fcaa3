//! Several daemons on one ledger in a database; `tests/postgres/run.sh` starts one and runs these.
#![allow(clippy::unwrap_used, unreachable_pub, reason = "these are tests")]

#[path = "../bearer/mod.rs"]
mod bearer;
mod behind;
mod daemons;
mod fixtures;
mod kept;
mod moving;
mod outage;
#[path = "../running/mod.rs"]
mod running;
mod shared;
mod streams;
mod upgrade;

#[path = "../../../baytrim-ledger-postgres/tests/kills/cluster.rs"]
mod cluster;
