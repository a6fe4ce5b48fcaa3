//! The store on a real PostgreSQL; `tests/postgres/run.sh` starts one and runs these.

mod ambiguous;
mod behind;
mod conformance;
mod damage;
mod opening;
mod proxy;
mod secure;
mod support;
mod uploads;
mod waiting;
