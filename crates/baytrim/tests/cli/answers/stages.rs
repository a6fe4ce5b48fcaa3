//! Canned answers about stages.

use baytrim_api::v1::{
    BayView, ChangeVerdict, ComparedNode, ComparedStage, FigureComparison, GetShopViewResponse,
    JobStanding, JobView, PowerComparison, Stage, StageComparison, StageKind,
};

use super::MOMENT;

/// The stages of the invented job quoll-1.
pub(crate) fn stages() -> Vec<Stage> {
    let stage = |number: u32, kind: StageKind, title: &str, notes: &str, pulls: &[u32]| Stage {
        name: format!("jobs/quoll-1/stages/s{number}"),
        kind: kind.into(),
        title: title.to_owned(),
        notes: notes.to_owned(),
        create_time: Some(MOMENT),
        creator: "kim".to_owned(),
        pulls: pulls
            .iter()
            .map(|pull| format!("jobs/quoll-1/pulls/p{pull}"))
            .collect(),
        vehicle: None,
    };
    vec![
        stage(1, StageKind::AsItCame, "as it came", "", &[1, 2]),
        stage(
            2,
            StageKind::Tuned,
            "tuned",
            "open silencer, table r1",
            &[3, 4],
        ),
    ]
}

/// The first of them against the second.
pub(crate) fn comparison() -> StageComparison {
    let [first, second]: [Stage; 2] = stages().try_into().expect("two stages");
    let side = |stage: Stage, revision: &str, off_target_percent: f64, within: f64| ComparedStage {
        revision: revision.to_owned(),
        pulls: stage.pulls.clone(),
        left_out_pulls: Vec::new(),
        off_target_percent,
        within_fraction: Some(within),
        stage: Some(stage),
    };
    let axes = super::job().axes.expect("a job has axes");
    let node = |index: usize, off: [f64; 2], half: f64, verdict: ChangeVerdict| ComparedNode {
        rpm: axes.rpm[index],
        plate_percent: axes.plate_percent[1],
        from_off_percent: Some(off[0]),
        to_off_percent: Some(off[1]),
        change_percent: Some(off[1] - off[0]),
        half_width_percent: half,
        verdict: verdict.into(),
    };
    StageComparison {
        from_stage: Some(side(first, "r0", 7.4, 0.21)),
        to_stage: Some(side(second, "r1", 1.6, 0.93)),
        nodes: vec![
            node(0, [8.2, 0.7], 1.4, ChangeVerdict::Closer),
            node(1, [-0.9, -0.3], 1.3, ChangeVerdict::InsideTheNoise),
            node(2, [0.4, -3.1], 1.2, ChangeVerdict::Further),
        ],
        pull_repeatability_percent: Some(0.42),
        node_repeatability_percent: Some(0.31),
        repeat_count: 2,
        off_target_percent: Some(FigureComparison {
            difference_percent: -5.8,
            interval_low: Some(-7.1),
            interval_high: Some(-4.5),
            repeatability_percent: Some(0.3),
            inside_the_noise: Some(false),
        }),
        within_percent: Some(FigureComparison {
            difference_percent: 70.0,
            interval_low: Some(-4.0),
            interval_high: Some(144.0),
            repeatability_percent: Some(21.0),
            inside_the_noise: Some(true),
        }),
        tolerance_percent: 3.0,
        remarks: vec![
            "s1 and s2 were pulled in different bays: part of the difference may be the sensors'"
                .to_owned(),
        ],
        shared_node_count: 3,
        power: Some(PowerComparison {
            change: Some(FigureComparison {
                difference_percent: 2.9,
                interval_low: Some(1.1),
                interval_high: Some(4.7),
                repeatability_percent: Some(0.6),
                inside_the_noise: Some(false),
            }),
            from_peak_kw: 48.2,
            to_peak_kw: 49.7,
            from_peak_nm: 58.1,
            to_peak_nm: 59.4,
            from_pull_count: 2,
            to_pull_count: 2,
            corrected: true,
            start_rpm: 3000.0,
            end_rpm: 9000.0,
        }),
    }
}

/// The invented shop at a glance.
pub(crate) fn shop_view() -> GetShopViewResponse {
    let job = |name: &str, standing: JobStanding, stage_title: &str, days: u32| JobView {
        name: format!("jobs/{name}"),
        title: format!("Invented {name}"),
        standing: standing.into(),
        create_time: Some(MOMENT),
        update_time: Some(MOMENT),
        updater: "kim".to_owned(),
        days,
        pull_count: 4,
        stage_title: stage_title.to_owned(),
    };
    GetShopViewResponse {
        bays: vec![
            BayView {
                bay: String::new(),
                jobs: vec![job("quoll-3", JobStanding::Waiting, "as it came", 1)],
                sensor_due: Vec::new(),
            },
            BayView {
                bay: "bays/east".to_owned(),
                jobs: vec![
                    job("quoll-1", JobStanding::InReview, "tuned", 3),
                    job("quoll-2", JobStanding::Done, "tuned", 5),
                ],
                sensor_due: vec![
                    "its lambda sensor was read in free air 41 days ago; again every 30".to_owned(),
                ],
            },
        ],
        older_count: 12,
        truncated: false,
    }
}
