//! Readings that are lean for another reason than too little fuel.

use std::fmt::Write as _;

use crate::harness::{Daemon, rows, upload_of};

/// If this fails, a proposal adds fuel to what only air in the exhaust made lean, or says nothing of it.
#[tokio::test]
async fn no_fuel_is_added_on_false_lean_readings() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    // Every node is held twice in each of three pulls; during the first minute of the last, air is blown in.
    for (pull, shift) in [(0, 1.0), (1, 1.002), (2, 0.999)] {
        let mut log = String::from("offset_s,rpm,plate_percent,lambda\n");
        for [offset_s, rpm, plate_percent, lambda] in rows() {
            let blown = if pull == 2 && offset_s < 60.0 {
                1.09
            } else {
                1.0
            };
            let lambda = shift * blown * lambda;
            let _ = writeln!(log, "{offset_s},{rpm},{plate_percent},{lambda:.4}");
        }
        daemon.upload(upload_of("j"), log.as_bytes()).await.unwrap();
    }
    let proposal = daemon.propose("j").await.unwrap();
    let held = proposal.nodes.iter();
    let held = held.filter(|node| node.limited_by.iter().any(|limit| limit == "false_lean"));
    assert!(held.count() > 8, "{:?}", proposal.nodes);
    assert!(proposal.nodes.iter().all(|node| node.after <= node.before));
    let remarks = proposal.fit.unwrap().remarks;
    let told = remarks
        .iter()
        .any(|remark| remark.contains("as secondary air makes it"));
    assert!(told, "{remarks:?}");
    daemon.stop().await;
}
