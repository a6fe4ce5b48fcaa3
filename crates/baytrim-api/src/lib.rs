//! Is the wire: code generated from `proto/`.
//! Knows nothing of the domain.

/// Messages, clients and servers of package `baytrim.v1`.
#[allow(
    clippy::all,
    clippy::pedantic,
    clippy::allow_attributes_without_reason,
    unused_qualifications,
    reason = "generated code"
)]
pub mod v1 {
    tonic::include_proto!("baytrim.v1");
}

/// The descriptors of all of `proto/` as an encoded `FileDescriptorSet`, for server reflection.
pub const DESCRIPTORS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));
