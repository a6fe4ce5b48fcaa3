//! Compiles `proto/` without protoc.
#![expect(
    clippy::disallowed_methods,
    reason = "cargo speaks to a build script through its environment"
)]

use std::path::PathBuf;

use prost::Message as _;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = PathBuf::from(std::env::var("CARGO_MANIFEST_DIR")?).join("../../proto");
    let names = [
        "access",
        "bays",
        "corrections",
        "daemon",
        "grip",
        "jobs",
        "ledger",
        "library",
        "limits",
        "power",
        "pulls",
        "reviews",
        "stages",
        "tables",
        "traces",
        "watches",
    ];
    let files = names.map(|name| format!("baytrim/v1/{name}.proto"));
    let descriptors = protox::compile(files, [&root])?;
    let out = PathBuf::from(std::env::var("OUT_DIR")?);
    std::fs::write(out.join("descriptors.bin"), descriptors.encode_to_vec())?;
    tonic_prost_build::configure().compile_fds(descriptors)?;
    println!("cargo:rerun-if-changed={}", root.display());
    Ok(())
}
