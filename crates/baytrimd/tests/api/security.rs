//! What keeps strangers, and members who would do more than they may, out.

mod names;
mod recovery;
mod replay;
mod streams;
mod takeover;
mod tls;
mod tls_files;
pub mod tls_house;
mod tokens;
mod wire;
