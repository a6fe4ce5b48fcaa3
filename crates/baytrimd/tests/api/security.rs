//! What keeps strangers, and members who would do more than they may, out.

mod tls;
mod tls_files;
mod tls_house;
