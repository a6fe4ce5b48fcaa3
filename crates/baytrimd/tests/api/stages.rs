//! Stages: begun, assigned, compared; jobs closed and taken up again; sensors read in free air.

use std::fmt::Write as _;

use baytrim_api::v1::stage_service_client::StageServiceClient;
use baytrim_api::v1::{
    AssignPullRequest, ChangeVerdict, CloseJobRequest, CompareStagesRequest,
    CreateSensorCheckRequest, CreateStageRequest, GetBayRequest, GetJobRequest, GetShopViewRequest,
    JobStanding, ListStagesRequest, OpenUpload, ReopenJobRequest, Stage, StageComparison,
    StageKind,
};
use tonic::Status;

use crate::bearer::Bearer;
use crate::harness::{Daemon, SOMEBODY, Wire, by, inner, rows, token_of, told, upload_of};

impl Daemon {
    pub fn stages(&self) -> StageServiceClient<Wire> {
        StageServiceClient::with_interceptor(
            self.channel.clone(),
            Bearer::of(token_of(SOMEBODY).text()),
        )
    }
}

/// The usual rows with lambda `factor` times its target.
fn log_of(factor: f64) -> String {
    let mut log = String::from("offset_s,rpm,plate_percent,lambda\n");
    for [offset_s, rpm, plate_percent, lambda] in rows() {
        let lambda = lambda / 1.04 * factor;
        let _ = writeln!(log, "{offset_s},{rpm},{plate_percent},{lambda:.4}");
    }
    log
}

async fn pulled(daemon: &Daemon, factor: f64) {
    let log = log_of(factor);
    let pull = daemon.upload(upload_of("j"), log.as_bytes()).await;
    pull.unwrap();
}

async fn begin(daemon: &Daemon, kind: StageKind, notes: &str) -> Result<Stage, Status> {
    let request = CreateStageRequest {
        parent: "jobs/j".to_owned(),
        kind: kind.into(),
        notes: notes.to_owned(),
        ..CreateStageRequest::default()
    };
    let begun = daemon.stages().create_stage(by("Ines", request)).await?;
    Ok(begun.into_inner().stage.unwrap())
}

async fn list(daemon: &Daemon) -> Vec<Stage> {
    let request = ListStagesRequest {
        parent: "jobs/j".to_owned(),
        ..ListStagesRequest::default()
    };
    inner(daemon.stages().list_stages(request).await.unwrap()).stages
}

async fn compare(daemon: &Daemon, from: &str, to: &str) -> Result<StageComparison, Status> {
    let request = CompareStagesRequest {
        parent: "jobs/j".to_owned(),
        from_stage: from.to_owned(),
        to_stage: to.to_owned(),
    };
    let compared = daemon.stages().compare_stages(request).await?;
    Ok(compared.into_inner().comparison.unwrap())
}

/// If this fails, a pull is told under another state of the vehicle than it was driven in, or stages are lost with
/// the daemon.
#[tokio::test]
async fn pulls_belong_to_the_stage_begun_last_unless_they_say_otherwise() {
    let directory = tempfile::tempdir().unwrap();
    let daemon = Daemon::on(directory.path()).await;
    daemon.open_job("j").await;
    let first = daemon.upload(upload_of("j"), log_of(1.0).as_bytes()).await;
    assert_eq!(first.unwrap().stage, "s1");
    let stage = begin(&daemon, StageKind::PartsFitted, "open silencer").await;
    let stage = stage.unwrap();
    assert_eq!(stage.name, "jobs/j/stages/s2");
    assert_eq!(stage.title, "parts fitted, old table");
    let second = daemon.upload(upload_of("j"), log_of(1.06).as_bytes()).await;
    assert_eq!(second.unwrap().stage, "s2");
    let late = OpenUpload {
        stage: "s1".to_owned(),
        ..upload_of("j")
    };
    let late = daemon.upload(late, log_of(1.01).as_bytes()).await.unwrap();
    assert_eq!(late.stage, "s1");
    let odd = OpenUpload {
        stage: "s9".to_owned(),
        ..upload_of("j")
    };
    let refused = daemon.upload(odd, log_of(1.02).as_bytes()).await;
    assert!(told(refused).contains("STAGE_UNKNOWN"));
    let moved = AssignPullRequest {
        name: "jobs/j/pulls/p3".to_owned(),
        stage: "s2".to_owned(),
        reason: "the silencer was on already".to_owned(),
        ..AssignPullRequest::default()
    };
    let assigned = daemon.stages().assign_pull(by("Ines", moved.clone())).await;
    let assigned = inner(assigned.unwrap()).stage.unwrap();
    assert_eq!(assigned.pulls, ["jobs/j/pulls/p2", "jobs/j/pulls/p3"]);
    let again = daemon.stages().assign_pull(moved).await;
    assert!(told(again).contains("FIELD_INVALID"));
    daemon.stop().await;

    let daemon = Daemon::on(directory.path()).await;
    let stages = list(&daemon).await;
    let pulls: Vec<usize> = stages.iter().map(|stage| stage.pulls.len()).collect();
    assert_eq!(pulls, [1, 2]);
    assert_eq!(stages[1].notes, "open silencer");
    assert_eq!(stages[1].creator, "Ines");
    daemon.stop().await;
}

/// If this fails, a proposal is computed from pulls of another engine than the one that runs: silencer and airbox were
/// other ones.
#[tokio::test]
async fn pulls_from_before_parts_were_fitted_are_left_out() {
    let directory = tempfile::tempdir().unwrap();
    let daemon = Daemon::on(directory.path()).await;
    daemon.open_job("j").await;
    pulled(&daemon, 1.0).await;
    begin(&daemon, StageKind::PartsFitted, "open silencer")
        .await
        .unwrap();
    let refused = daemon.propose("j").await.unwrap_err();
    assert!(refused.message().contains("parts fitted in s2"));
    assert_eq!(told::<()>(Err(refused)), "FailedPrecondition NO_PULLS");
    pulled(&daemon, 1.06).await;
    let made = daemon.propose("j").await.unwrap();
    assert_eq!(made.pulls, ["p2"]);
    let remarks = made.fit.unwrap().remarks.join(" ");
    assert!(remarks.contains("parts were fitted after them (stage s2): p1."));
    // What a stage of another kind begins is the same engine.
    begin(&daemon, StageKind::Tuned, "").await.unwrap();
    pulled(&daemon, 1.05).await;
    assert_eq!(daemon.propose("j").await.unwrap().pulls, ["p2", "p3"]);
    let moved = AssignPullRequest {
        name: "jobs/j/pulls/p1".to_owned(),
        stage: "s2".to_owned(),
        reason: "the silencer was on already".to_owned(),
        ..AssignPullRequest::default()
    };
    daemon.stages().assign_pull(moved).await.unwrap();
    assert_eq!(daemon.propose("j").await.unwrap().pulls, ["p1", "p2", "p3"]);
    daemon.stop().await;
}

/// If this fails, the customer is shown a gain that is noise, or no gain where there is one.
#[tokio::test]
async fn a_difference_is_told_from_the_noise_of_the_pulls() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    for factor in [1.08, 1.082, 1.078] {
        pulled(&daemon, factor).await;
    }
    let nobody = compare(&daemon, "s1", "s2").await;
    assert!(told(nobody).contains("STAGE_UNKNOWN"));
    begin(&daemon, StageKind::Tuned, "").await.unwrap();
    let empty = compare(&daemon, "s1", "s2").await;
    assert!(told(empty).contains("STAGE_EMPTY"));
    for factor in [1.0, 1.003, 0.997] {
        pulled(&daemon, factor).await;
    }
    begin(&daemon, StageKind::Other, "").await.unwrap_err();
    let found = compare(&daemon, "s1", "s2").await.unwrap();
    assert_eq!(found.repeat_count, 4);
    // The pulls were made to differ by 0.2 and 0.3 % as a whole.
    let whole = found.pull_repeatability_percent.unwrap();
    assert!((0.1..0.4).contains(&whole), "{whole}");
    assert!(found.shared_node_count > 4, "{found:?}");
    let shared = found
        .nodes
        .iter()
        .filter(|node| node.change_percent.is_some());
    for node in shared {
        // ln(1.0 / 1.08) is -7.7 %.
        let change = node.change_percent.unwrap();
        assert!((change + 7.7).abs() < 1.0, "{node:?}");
        assert!(node.half_width_percent < 4.0, "{node:?}");
        assert_ne!(node.verdict(), ChangeVerdict::InsideTheNoise, "{node:?}");
    }
    let same = compare(&daemon, "s2", "s2").await.unwrap();
    assert_eq!(
        same.off_target_percent.unwrap().inside_the_noise,
        Some(true)
    );
    assert!(same.nodes.iter().all(|node| {
        node.change_percent.is_none() || node.verdict() == ChangeVerdict::InsideTheNoise
    }));
    daemon.stop().await;
}

/// If this fails, one pull of a stage passes for knowing how well pulls repeat.
#[tokio::test]
async fn without_repeats_it_says_so() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    for (factor, kind) in [(1.08, Some(StageKind::Tuned)), (1.0, None)] {
        pulled(&daemon, factor).await;
        if let Some(kind) = kind {
            begin(&daemon, kind, "").await.unwrap();
        }
    }
    let found = compare(&daemon, "s1", "s2").await.unwrap();
    assert_eq!(found.pull_repeatability_percent, None);
    assert_eq!(found.off_target_percent.unwrap().inside_the_noise, None);
    let said = found
        .remarks
        .iter()
        .any(|remark| remark.contains("no place was pulled twice"));
    assert!(said, "{:?}", found.remarks);
    daemon.stop().await;
}

/// If this fails, a job that was handed over looks in work, or one in work looks handed over.
#[tokio::test]
async fn a_closed_job_is_done_until_work_goes_on() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let standing = async || {
        let request = GetJobRequest {
            name: "jobs/j".to_owned(),
        };
        let job = inner(daemon.jobs().get_job(request).await.unwrap()).job;
        job.unwrap().standing()
    };
    assert_eq!(standing().await, JobStanding::Waiting);
    pulled(&daemon, 1.0).await;
    assert_eq!(standing().await, JobStanding::InWork);
    let close = CloseJobRequest {
        name: "jobs/j".to_owned(),
        reason: "handed over".to_owned(),
        request_id: "close-1".to_owned(),
    };
    for _ in 0..2 {
        let closed = daemon.jobs().close_job(by("Ines", close.clone())).await;
        assert_eq!(
            inner(closed.unwrap()).job.unwrap().standing(),
            JobStanding::Done
        );
    }
    let again = CloseJobRequest {
        request_id: String::new(),
        ..close.clone()
    };
    assert!(told(daemon.jobs().close_job(again.clone()).await).contains("ALREADY_STANDS"));
    let reopen = ReopenJobRequest {
        name: "jobs/j".to_owned(),
        reason: "surges".to_owned(),
        ..ReopenJobRequest::default()
    };
    let reopened = daemon.jobs().reopen_job(by("Ines", reopen)).await.unwrap();
    assert_eq!(inner(reopened).job.unwrap().standing(), JobStanding::InWork);
    daemon.jobs().close_job(by("Ines", again)).await.unwrap();
    // A pull that comes later is taken, and takes the job up again: nothing is lost.
    pulled(&daemon, 1.02).await;
    assert_eq!(standing().await, JobStanding::InWork);
    daemon.stop().await;
}

/// If this fails, a sensor that shows no air in free air goes on measuring, or nobody knows when it was read last.
#[tokio::test]
async fn readings_in_free_air_are_kept_and_judged() {
    let daemon = Daemon::start().await;
    let get = || GetBayRequest {
        name: "bays/east".to_owned(),
    };
    let bay = inner(daemon.bays().get_bay(get()).await.unwrap())
        .bay
        .unwrap();
    assert!(bay.sensor_due[0].contains("never read"), "{bay:?}");
    let check = |oxygen_percent: f64| CreateSensorCheckRequest {
        parent: "bays/east".to_owned(),
        oxygen_percent,
        notes: "warmed up".to_owned(),
        ..CreateSensorCheckRequest::default()
    };
    let off = daemon
        .bays()
        .create_sensor_check(by("Ines", check(18.2)))
        .await;
    let bay = inner(off.unwrap()).bay.unwrap();
    assert!(bay.sensor_due[0].contains("18.2 % oxygen"), "{bay:?}");
    let good = daemon
        .bays()
        .create_sensor_check(by("Ines", check(20.7)))
        .await;
    let bay = inner(good.unwrap()).bay.unwrap();
    assert_eq!(bay.sensor_due, Vec::<String>::new());
    assert_eq!(bay.sensor_checks.len(), 2);
    assert_eq!(bay.sensor_checks[1].creator, "Ines");
    let odd = daemon.bays().create_sensor_check(check(f64::NAN)).await;
    assert!(told(odd).contains("FIELD_INVALID"));
    daemon.stop().await;
}

/// If this fails, a job is not seen where it stands, or a bay's sensor is forgotten.
#[tokio::test]
async fn the_shop_is_seen_by_bay() {
    let daemon = Daemon::start().await;
    daemon.open_job("pulled").await;
    daemon.open_job("waits").await;
    let log = log_of(1.05);
    let pull = daemon.upload(upload_of("pulled"), log.as_bytes()).await;
    pull.unwrap();
    daemon.propose("pulled").await.unwrap();
    let view = async |done_days: i32| {
        let request = GetShopViewRequest { done_days };
        daemon.jobs().get_shop_view(request).await
    };
    let seen = inner(view(0).await.unwrap());
    let bays: Vec<&str> = seen.bays.iter().map(|bay| bay.bay.as_str()).collect();
    // The job that waits may go into either bay.
    assert_eq!(bays, ["", "bays/east"]);
    assert_eq!(seen.bays[0].jobs[0].standing(), JobStanding::Waiting);
    let pulled = &seen.bays[1].jobs[0];
    assert_eq!(pulled.name, "jobs/pulled");
    assert_eq!(pulled.standing(), JobStanding::InReview);
    assert_eq!((pulled.days, pulled.pull_count), (0, 1));
    assert_eq!(pulled.updater, "Tova");
    assert!(seen.bays[1].sensor_due[0].contains("never read"));
    assert!(told(view(-1).await).contains("FIELD_INVALID"));
    daemon.stop().await;
}
