//! Readings that are lean for another reason than too little fuel.

use std::fmt::Write as _;

use crate::harness::{Daemon, rows, upload_of};

/// If this fails, a proposal adds fuel to what only air in the exhaust made lean, or says nothing of it.
#[tokio::test]
async fn no_fuel_is_added_on_false_lean_readings() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    // Every node is held four times in each of four pulls; until 100 s of the last, air is blown in.
    let (once, length_s) = (rows(), 120.0);
    let twice = once.iter().map(|&[offset_s, rpm, plate_percent, lambda]| {
        [offset_s + length_s, rpm, plate_percent, lambda]
    });
    let twice: Vec<[f64; 4]> = once.iter().copied().chain(twice).collect();
    for (pull, shift) in [1.0, 1.002, 0.999, 1.001].into_iter().enumerate() {
        let mut log = String::from("offset_s,rpm,plate_percent,lambda\n");
        for [offset_s, rpm, plate_percent, lambda] in &twice {
            let is_blown = pull == 3 && *offset_s < 100.0;
            let lambda = shift * if is_blown { 1.09 * lambda } else { *lambda };
            let _ = writeln!(log, "{offset_s},{rpm},{plate_percent},{lambda:.4}");
        }
        daemon.upload(upload_of("j"), log.as_bytes()).await.unwrap();
    }
    let proposal = daemon.propose("j").await.unwrap();
    let held = proposal.nodes.iter();
    let held = held.filter(|node| node.limited_by.iter().any(|limit| limit == "false_lean"));
    assert!(held.count() > 8, "{:?}", proposal.fit);
    assert!(proposal.nodes.iter().all(|node| node.after <= node.before));
    let remarks = proposal.fit.unwrap().remarks;
    let told = remarks
        .iter()
        .any(|remark| remark.contains("as secondary air makes it"));
    assert!(told, "{remarks:?}");
    daemon.stop().await;
}
