//! The shop at a glance: jobs by bay, where they stand, whose sensor should be looked at.

use baytrim_api::v1::{BayView, GetShopViewResponse, JobView};

use super::columns::{Edge, columns};
use super::job::standing_name;
use super::style::{Ink, RenderOptions};
use super::text::{counted, minute, plain, wrap};
use crate::name::short;

/// Returns the shop as a tuner reads it.
pub fn render_shop(view: &GetShopViewResponse, options: &RenderOptions) -> String {
    if view.bays.is_empty() {
        return "No jobs yet. Start with: baytrim job example > job.toml\n".to_owned();
    }
    let mut parts: Vec<String> = view.bays.iter().map(|bay| part(bay, options)).collect();
    if view.older_count > 0 {
        let text = format!(
            "{} done earlier; --done-days shows more.",
            counted(view.older_count as usize, "job")
        );
        parts.push(options.paint(Ink::Quiet, &wrap(&text, options.width, 0)));
    }
    if view.truncated {
        parts.push(wrap(
            "The shop has more jobs than are shown here.",
            options.width,
            0,
        ));
    }
    parts.join("\n")
}

fn part(bay: &BayView, options: &RenderOptions) -> String {
    let name = match bay.bay.as_str() {
        "" => "Any bay".to_owned(),
        name => format!("Bay {}", plain(&short(name))),
    };
    let mut page = options.paint(Ink::Strong, &name) + "\n";
    for due in &bay.sensor_due {
        let line = format!("Due: {}", plain(due));
        page += &options.paint(Ink::Alert, &wrap(&line, options.width, 2));
    }
    if bay.jobs.is_empty() {
        return page + "  no job\n";
    }
    let row = |job: &JobView| {
        [
            short(&job.name),
            standing_name(job.standing())
                .unwrap_or("-")
                .replace('_', " "),
            plain(&job.stage_title),
            job.pull_count.to_string(),
            job.days.to_string(),
            minute(job.update_time.map(|time| time.to_string())),
            plain(&job.updater),
            plain(&job.title),
        ]
    };
    let rows: Vec<_> = bay.jobs.iter().map(row).collect();
    let heads = [
        ("job", Edge::Left),
        ("stands", Edge::Left),
        ("stage", Edge::Left),
        ("pulls", Edge::Right),
        ("days", Edge::Right),
        ("last (UTC)", Edge::Left),
        ("who", Edge::Left),
        ("title", Edge::Left),
    ];
    page + &columns(heads, &rows, options)
}
