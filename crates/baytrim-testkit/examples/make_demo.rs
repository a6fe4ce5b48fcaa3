//! Writes the demo files of the invented shop: `cargo run --release -p baytrim-testkit --example make_demo [folder]`.
#![expect(clippy::print_stdout, reason = "a program that says what it wrote")]

use std::path::PathBuf;

use baytrim_testkit::demo;

fn main() -> std::io::Result<()> {
    let folder = std::env::args_os().nth(1).map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo-data")),
        PathBuf::from,
    );
    std::fs::create_dir_all(folder.join("earlier"))?;
    for file in demo::files() {
        std::fs::write(folder.join(file.name), &file.text)?;
        println!("{:>8} bytes  {}", file.text.len(), file.name);
    }
    Ok(())
}
