//! An invented job and logs of it.

use std::fmt::Write as _;

use baytrim_api::v1::CreateJobRequest;

/// An invented job: a small table in percent.
pub fn job() -> CreateJobRequest {
    let file = "
name = \"Invented 400\"
engine = { strokes = 4, displacement_cc = 400.0, cylinders = 2 }
fuel = { name = \"petrol\", stoichiometric_afr = 14.3 }
axes = { rpm = [2000, 4000, 6000, 8000], plate_percent = [10, 40, 80] }
table = { content = \"percent\", resolution = 0.1, values = [[0, 0, 0, 0], [0, 0, 0, 0], [0, 0, 0, 0]] }
target = { lambda = 0.95 }
bays = { east = {} }
";
    CreateJobRequest {
        job_id: "j".to_owned(),
        job_file: file.to_owned(),
        ..CreateJobRequest::default()
    }
}

/// A log that holds every node for five seconds at 20 Hz, 4 % too lean, and is another one for every name.
pub fn log(name: &str) -> String {
    let phase: u32 = name.bytes().map(u32::from).sum();
    let mut log = String::from("offset_s,rpm,plate_percent,lambda\n");
    let mut index = 0.0_f64;
    for plate_percent in [10, 40, 80] {
        for rpm in [2000, 4000, 6000, 8000] {
            for _ in 0..100 {
                let waver = 0.004 * (f64::from(phase) + index * 0.7).sin();
                let _ = writeln!(
                    log,
                    "{},{rpm},{plate_percent},{:.4}",
                    index / 20.0,
                    0.95 * (1.04 + waver)
                );
                index += 1.0;
            }
        }
    }
    log
}
