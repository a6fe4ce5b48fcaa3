//! Logs that are no text, through the whole daemon. The files are `pyarrow`'s and `asammdf`'s.

use std::path::Path;

use baytrim_api::v1::OpenUpload;

use crate::harness::{Daemon, upload_of};

const MAP: &str = r#"
[time]
column = "Time"
[channels.engine_speed]
column = "Engine speed"
unit = "rpm"
[channels.plate_angle]
column = "Throttle"
unit = "percent"
[channels.lambda]
column = "Lambda"
unit = "lambda"
"#;

fn file(name: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../baytrim-intake/tests/files");
    std::fs::read(folder.join(name)).unwrap()
}

/// If this fails, the daemon is built without a format that it says it reads.
#[tokio::test]
async fn every_kind_of_file_becomes_a_pull() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    for (name, sample_count) in [
        ("table_zstd.parquet", 400),
        ("table_lz4.arrow", 400),
        ("table_stream.arrows", 400),
        ("four_clocks_411_transposed.mf4", 80),
    ] {
        let open = OpenUpload {
            channel_map: MAP.to_owned(),
            source_name: name.to_owned(),
            validate_only: true,
            ..upload_of("j")
        };
        let pull = daemon.upload(open, &file(name)).await;
        let pull = pull.unwrap_or_else(|status| panic!("{name}: {}", status.message()));
        assert_eq!(pull.sample_count, sample_count, "{name}");
        assert!((pull.duration_s - 4.0).abs() < 0.06, "{name}");
    }
    daemon.stop().await;
}
