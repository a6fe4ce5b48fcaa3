//! Channel maps of bays: set, read, and used by pulls that give none.

use std::fmt::Write as _;

use baytrim_api::v1::{
    Bay, ChannelMap, ChannelMapSource, GetBayRequest, GetChannelMapRequest, ListBaysRequest,
    ListChannelMapsRequest, ListRecordsRequest, OpenUpload, SetChannelMapRequest,
    VerifyLedgerRequest,
};
use tonic::Status;

use crate::harness::{Daemon, by, inner, metadata, rows, told, upload_of};

/// A map for [`spoken_log`]: other column names than the standard ones, and AFR for lambda.
const MAP: &str = r#"
# measured on the invented bench, 4 May
[time]
column = "Time"
[channels.engine_speed]
column = "Speed"
unit = "rpm"
[channels.plate_angle]
column = "Plate"
unit = "percent"
[channels.lambda]
column = "Mixture"
unit = "afr"
"#;

/// The usual rows under the names of [`MAP`]; the job's fuel has 14.3.
fn spoken_log() -> String {
    let mut log = String::from("Time,Speed,Plate,Mixture\n");
    for [offset_s, rpm, plate_percent, lambda] in rows() {
        let _ = writeln!(log, "{offset_s},{rpm},{plate_percent},{:.4}", lambda * 14.3);
    }
    log
}

fn set_of(text: &str, reason: &str) -> SetChannelMapRequest {
    SetChannelMapRequest {
        parent: "bays/east".to_owned(),
        text: text.to_owned(),
        reason: reason.to_owned(),
        ..SetChannelMapRequest::default()
    }
}

async fn set(daemon: &Daemon, request: SetChannelMapRequest) -> Result<ChannelMap, Status> {
    let request = by("Ines", request);
    let set = daemon.bays().set_channel_map(request).await?;
    Ok(set.into_inner().channel_map.unwrap())
}

async fn get(daemon: &Daemon, name: &str) -> Result<ChannelMap, Status> {
    let name = name.to_owned();
    let request = GetChannelMapRequest { name };
    let got = daemon.bays().get_channel_map(request).await?;
    Ok(got.into_inner().channel_map.unwrap())
}

/// If this fails, a map that was set is lost, altered, attributed to another, or lost with the daemon.
#[tokio::test]
async fn maps_are_kept_with_their_revisions() {
    let directory = tempfile::tempdir().unwrap();
    let daemon = Daemon::on(directory.path()).await;
    let first = set(&daemon, set_of(MAP, "new lambda meter")).await.unwrap();
    assert_eq!(first.name, "bays/east/maps/m1");
    assert!(first.in_force);
    let other = MAP.replace("Mixture", "Lambda 2");
    set(&daemon, set_of(&other, "")).await.unwrap();
    daemon.stop().await;

    let daemon = Daemon::on(directory.path()).await;
    let first = get(&daemon, "bays/east/maps/m1").await.unwrap();
    assert_eq!(first.text, MAP);
    assert_eq!(first.reason, "new lambda meter");
    assert_eq!(first.creator, "Ines");
    assert!(!first.in_force);
    let columns = first.channels.iter();
    let columns = columns.map(|channel| (channel.quantity.as_str(), channel.column.as_str()));
    assert_eq!(
        columns.collect::<Vec<_>>(),
        [
            ("time", "Time"),
            ("engine_speed", "Speed"),
            ("plate_angle", "Plate"),
            ("lambda", "Mixture")
        ]
    );
    assert_eq!(get(&daemon, "bays/east/maps/-").await.unwrap().text, other);
    let request = ListChannelMapsRequest {
        parent: "bays/east".to_owned(),
        page_size: 1,
        ..ListChannelMapsRequest::default()
    };
    let listed = inner(daemon.bays().list_channel_maps(request).await.unwrap());
    assert_eq!(listed.channel_maps[0].name, "bays/east/maps/m1");
    assert!(!listed.next_page_token.is_empty());
    let bays = inner(
        daemon
            .bays()
            .list_bays(ListBaysRequest::default())
            .await
            .unwrap(),
    );
    let east = Bay {
        name: "bays/east".to_owned(),
        channel_map: "bays/east/maps/m2".to_owned(),
        sensor_due: bays.bays[0].sensor_due.clone(),
        ..Bay::default()
    };
    assert_eq!(bays.bays, [east]);
    daemon.stop().await;
}

/// If this fails, a log is read with another map than the bay's in force, or its pull does not say with which.
#[tokio::test]
async fn pulls_take_the_map_in_force_and_note_it() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let log = spoken_log();
    let refused = daemon.upload(upload_of("j"), log.as_bytes()).await;
    assert_eq!(
        told(refused),
        "InvalidArgument LOG_COLUMN_MISSING column \"offset_s\""
    );
    set(&daemon, set_of(&MAP.replace("afr", "lambda"), ""))
        .await
        .unwrap();
    set(&daemon, set_of(MAP, "it is AFR")).await.unwrap();
    let pull = daemon.upload(upload_of("j"), log.as_bytes()).await.unwrap();
    assert_eq!(pull.channel_map_source(), ChannelMapSource::Bay);
    assert_eq!(pull.channel_map, "bays/east/maps/m2");

    // Another bay has none, and a map that is sent with the log comes first.
    let open = OpenUpload {
        channel_map: MAP.replace("Mixture", "Nothing"),
        ..upload_of("j")
    };
    let refused = daemon.upload(open.clone(), log.as_bytes()).await;
    assert!(told(refused).starts_with("InvalidArgument LOG_COLUMN_MISSING"));
    let open = OpenUpload {
        channel_map: MAP.replace("\"afr\"", "\"afr\"\nscale = 1.001"),
        ..upload_of("j")
    };
    let pull = daemon.upload(open, log.as_bytes()).await.unwrap();
    assert_eq!(pull.channel_map_source(), ChannelMapSource::Sent);
    assert_eq!(pull.channel_map, "");
    let standard = OpenUpload {
        bay: "west".to_owned(),
        ..upload_of("j")
    };
    let pull = daemon
        .upload(standard, crate::harness::log().as_bytes())
        .await;
    let pull = pull.unwrap();
    assert_eq!(pull.channel_map_source(), ChannelMapSource::Standard);
    daemon.stop().await;
}

/// If this fails, a map is recorded twice, without being asked for, or one that nobody can read.
#[tokio::test]
async fn only_good_and_new_maps_are_recorded() {
    let daemon = Daemon::start().await;
    assert_eq!(
        told(get(&daemon, "bays/east/maps/-").await),
        "NotFound CHANNEL_MAP_NONE"
    );
    let check = SetChannelMapRequest {
        validate_only: true,
        ..set_of(MAP, "")
    };
    let checked = set(&daemon, check).await.unwrap();
    assert_eq!(checked.name, "");
    assert_eq!(
        told(get(&daemon, "bays/east/maps/-").await),
        "NotFound CHANNEL_MAP_NONE"
    );
    let bad = MAP.replace("plate_angle", "plate_tilt");
    assert_eq!(
        told(set(&daemon, set_of(&bad, "")).await),
        "InvalidArgument FIELD_INVALID text, line 8, channels.plate_tilt"
    );
    let request = SetChannelMapRequest {
        request_id: "set-0001".to_owned(),
        ..set_of(MAP, "")
    };
    let first = set(&daemon, request.clone()).await.unwrap();
    assert_eq!(set(&daemon, request).await.unwrap(), first);
    assert_eq!(
        told(set(&daemon, set_of(MAP, "")).await),
        "FailedPrecondition CHANNEL_MAP_ALREADY_IN_FORCE"
    );
    let unknown = get(&daemon, "bays/east/maps/m2").await.unwrap_err();
    assert_eq!(metadata(&unknown, "latest_channel_map"), "m1");
    assert_eq!(told(Err::<(), _>(unknown)), "NotFound CHANNEL_MAP_UNKNOWN");
    assert_eq!(
        told(get(&daemon, "bays/East/maps/m1").await),
        "InvalidArgument FIELD_INVALID name"
    );
    let name = "bays/west".to_owned();
    let west = daemon.bays().get_bay(GetBayRequest { name }).await.unwrap();
    assert_eq!(inner(west).bay.unwrap().channel_map, "");
    daemon.stop().await;
}

/// If this fails, what happened to a bay cannot be read in the ledger, or is not proven with it.
#[tokio::test]
async fn a_bays_records_are_read_and_proven() {
    let daemon = Daemon::start().await;
    set(&daemon, set_of(MAP, "new lambda meter")).await.unwrap();
    let request = ListRecordsRequest {
        parent: "bays/east".to_owned(),
        with_bodies: true,
        ..ListRecordsRequest::default()
    };
    let records = inner(daemon.ledger().list_records(request).await.unwrap()).records;
    assert_eq!(records.len(), 1);
    assert_eq!(records[0].kind, "channel_map_set");
    assert_eq!(
        records[0].summary,
        "channel map m1 put in force, 3 quantities: new lambda meter"
    );
    assert!(records[0].body.contains("measured on the invented bench"));
    let request = VerifyLedgerRequest::default();
    let verified = daemon.ledger().verify_ledger(request).await.unwrap();
    assert!(inner(verified).intact);
    daemon.stop().await;
}
