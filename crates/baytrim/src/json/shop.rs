//! The shop at a glance, for scripts.

use baytrim_api::v1::{BayView, GetShopViewResponse, JobView};
use serde::Serialize;

use crate::name::short;
use crate::render::job::standing_name;

/// The shop at a glance.
#[derive(Debug, Serialize)]
pub(crate) struct ShopJson<'a> {
    bays: Vec<BayJson<'a>>,
    older_count: u32,
    truncated: bool,
}

#[derive(Debug, Serialize)]
struct BayJson<'a> {
    bay: Option<String>,
    sensor_due: &'a [String],
    jobs: Vec<JobJson<'a>>,
}

#[derive(Debug, Serialize)]
struct JobJson<'a> {
    id: String,
    title: &'a str,
    standing: Option<&'static str>,
    stage_title: &'a str,
    pull_count: u32,
    days: u32,
    create_time: Option<String>,
    update_time: Option<String>,
    updater: &'a str,
}

impl<'a> From<&'a GetShopViewResponse> for ShopJson<'a> {
    fn from(view: &'a GetShopViewResponse) -> Self {
        Self {
            bays: view.bays.iter().map(bay).collect(),
            older_count: view.older_count,
            truncated: view.truncated,
        }
    }
}

fn bay(bay: &BayView) -> BayJson<'_> {
    BayJson {
        bay: (!bay.bay.is_empty()).then(|| short(&bay.bay)),
        sensor_due: &bay.sensor_due,
        jobs: bay.jobs.iter().map(job).collect(),
    }
}

fn job(job: &JobView) -> JobJson<'_> {
    JobJson {
        id: short(&job.name),
        title: &job.title,
        standing: standing_name(job.standing()),
        stage_title: &job.stage_title,
        pull_count: job.pull_count,
        days: job.days,
        create_time: job.create_time.map(|time| time.to_string()),
        update_time: job.update_time.map(|time| time.to_string()),
        updater: &job.updater,
    }
}
