//! Overrun and secondary air: what the record says against what the log shows.

use baytrim_api::v1::stage_service_client::StageServiceClient;
use baytrim_api::v1::{
    CreateJobRequest, CreateStageRequest, OpenUpload, Pull, StageKind, VehicleRecord,
};
use baytrim_model::channel::Quantity;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::csv;
use baytrim_testkit::drive::Path;
use baytrim_testkit::faults;
use baytrim_testkit::simulate::simulate_path;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

use crate::bearer::Bearer;
use crate::harness::{Daemon, SOMEBODY, by, job_file, token_of, told, upload_of};

/// Four overruns of a simulated engine with a sensor in the header; `cuts` says whether its controller cuts fuel, and
/// `air_s` how long fresh air goes into the exhaust, from the start of the log.
fn ride(cuts: bool, air_s: f64, has_cut_flag: bool) -> String {
    let mut truth = EngineTruth::from_seed(907, &TruthOptions::default());
    truth.ecu.overrun_cut = cuts;
    let fast = 0.875 * truth.ecu.limiter_rpm;
    let mut path = Path::default();
    for _ in 0..4 {
        path.move_to(fast, 40.0, 1.0);
        path.hold(fast, 40.0, 1.5);
        path.move_to(fast, 0.0, 0.1);
        path.sweep_to(1600.0, 8.0);
    }
    let bay = BayOptions {
        secondary_air_until_s: air_s,
        secondary_air_share: 0.25,
        ..BayOptions::default()
    };
    let mut samples = simulate_path(&truth, &truth.table.values, &path, 907, &bay).samples;
    if !has_cut_flag {
        faults::forget(&mut samples, Quantity::FuelCut);
    }
    csv::log(&samples)
}

async fn open(daemon: &Daemon, record: &str) {
    let request = CreateJobRequest {
        job_id: "j".to_owned(),
        job_file: job_file().replace("[axes]", &format!("{record}\n[axes]")),
        ..CreateJobRequest::default()
    };
    daemon.jobs().create_job(by("Ines", request)).await.unwrap();
}

async fn send(daemon: &Daemon, log: &str, name: &str) -> Pull {
    let open = OpenUpload {
        source_name: format!("{name}.csv"),
        ..upload_of("j")
    };
    daemon.upload(open, log.as_bytes()).await.unwrap()
}

fn codes(pull: &Pull) -> Vec<&str> {
    let codes = pull.warnings.iter().map(|warning| warning.code.as_str());
    codes
        .filter(|code| code.contains("overrun") || code.contains("secondary_air"))
        .collect()
}

/// If this fails, a cut that the record says is out goes on unnoticed, or a record that was put right still accuses.
#[tokio::test]
async fn a_cut_that_the_record_denies_is_told() {
    let daemon = Daemon::start().await;
    open(&daemon, "[overrun]\ncut = \"off\"").await;
    let denied = send(&daemon, &ride(true, 0.0, false), "denied").await;
    assert_eq!(
        codes(&denied),
        ["overrun_contradicts"],
        "{:?}",
        denied.warnings
    );
    let found = denied.behaviour.unwrap();
    assert!(
        ["on", "above_rpm"].contains(&found.overrun_cut.as_str()),
        "{found:?}"
    );
    assert_eq!(found.recorded.unwrap().overrun_cut, "off");
    let honest = send(&daemon, &ride(false, 0.0, false), "honest").await;
    assert!(codes(&honest).is_empty(), "{:?}", honest.warnings);
    assert_eq!(honest.behaviour.unwrap().overrun_cut, "off");
    let mut stages = StageServiceClient::with_interceptor(
        daemon.channel.clone(),
        Bearer::of(token_of(SOMEBODY).text()),
    );
    let begin = |overrun_cut: &str| CreateStageRequest {
        parent: "jobs/j".to_owned(),
        kind: StageKind::Other.into(),
        title: "cut put back".to_owned(),
        vehicle: Some(VehicleRecord {
            overrun_cut: overrun_cut.to_owned(),
            ..VehicleRecord::default()
        }),
        ..CreateStageRequest::default()
    };
    let wrong = stages.create_stage(by("Ines", begin("sometimes"))).await;
    assert_eq!(
        told(wrong),
        "InvalidArgument FIELD_INVALID vehicle.overrun_cut"
    );
    stages.create_stage(by("Ines", begin("on"))).await.unwrap();
    let again = send(
        &daemon,
        &ride(false, 0.0, false).replace("\n0,", "\n0.0001,"),
        "again",
    )
    .await;
    assert_eq!(
        codes(&again),
        ["overrun_contradicts"],
        "{:?}",
        again.warnings
    );
    daemon.stop().await;
}

/// If this fails, air in the exhaust that the record says is blocked goes on unnoticed and reads as a lack of fuel, or
/// air that is known to flow does.
#[tokio::test]
async fn air_that_the_record_denies_is_told_and_recorded_air_shuts_a_region() {
    let log = ride(false, 1000.0, true);
    let of = async |record: &str| {
        let daemon = Daemon::start().await;
        open(&daemon, record).await;
        let pull = send(&daemon, &log, "air").await;
        daemon.stop().await;
        pull
    };
    let blocked = of("[secondary_air]\nstate = \"blocked\"").await;
    assert_eq!(
        codes(&blocked),
        ["secondary_air_contradicts"],
        "{blocked:?}"
    );
    assert_eq!(codes(&of("").await), ["secondary_air_found"]);
    let active = of("[secondary_air]\nstate = \"active\"").await;
    assert_eq!(codes(&active), ["secondary_air_by_region"]);
    let refused = |pull: &Pull| {
        let gates = pull.refused.iter();
        gates
            .filter(|count| count.gate == "secondary_air")
            .map(|count| count.refused_s)
            .sum::<f64>()
    };
    assert!(
        refused(&active) > 5.0 && refused(&blocked) < 1e-9,
        "{active:?}"
    );
}
