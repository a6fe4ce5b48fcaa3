//! A job: engine, fuel, table, limits, how far it is; lists of jobs.

use baytrim_api::v1::{Job, JobStanding, TableContent};

use super::columns::{Edge, columns};
use super::limits::limit_sentences;
use super::number::breakpoint;
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang, minute, moment, plain, wrap};
use crate::name::{number, short};

/// Returns a job as a tuner reads it.
pub fn render_job(job: &Job, options: &RenderOptions) -> String {
    let name = match job.name.as_str() {
        "" => "Only checked, not opened".to_owned(),
        name => format!("Job {}", short(name)),
    };
    let title = plain(&format!("{name}: {}", job.title));
    let mut page = options.paint(Ink::Strong, &title) + "\n";
    if !job.name.is_empty() {
        let made = moment(job.create_time.map(|time| time.to_string()));
        let line = format!("Opened {made} by {}", plain(&job.creator));
        page += &(options.paint(Ink::Quiet, &line) + "\n");
    }
    page += &wrap(&plain(&job.notes), options.width, 0);
    page.push('\n');
    for (head, text) in facts(job) {
        page += &hang(&format!("{head}: {text}"), options.width, 2, 4);
    }
    page + &next(job, options)
}

/// Returns jobs, one a line.
pub fn render_jobs(jobs: &[Job], options: &RenderOptions) -> String {
    if jobs.is_empty() {
        return "No jobs yet. Start with: baytrim job example > job.toml\n".to_owned();
    }
    let row = |job: &Job| {
        [
            short(&job.name),
            plain(&job.head_revision),
            job.pull_count.to_string(),
            if job.open_proposals.is_empty() {
                "-".to_owned()
            } else {
                open_proposals(job, ",")
            },
            minute(job.create_time.map(|time| time.to_string())),
            plain(&job.title),
        ]
    };
    let rows: Vec<_> = jobs.iter().map(row).collect();
    let heads = [
        ("job", Edge::Left),
        ("in force", Edge::Left),
        ("pulls", Edge::Right),
        ("to review", Edge::Left),
        ("opened (UTC)", Edge::Left),
        ("title", Edge::Left),
    ];
    columns(heads, &rows, options)
}

/// Returns the name of what a table holds, as job files and scripts write it.
pub(crate) fn content_name(content: TableContent) -> &'static str {
    match content {
        TableContent::Unspecified => "unknown",
        TableContent::Percent => "percent",
        TableContent::Factor => "factor",
        TableContent::VolumetricEfficiency => "volumetric_efficiency",
        TableContent::EffectiveTimeMs => "effective_time_ms",
        TableContent::TotalTimeMs => "total_time_ms",
    }
}

/// Returns the name of where a job stands, as scripts write it.
pub(crate) fn standing_name(standing: JobStanding) -> Option<&'static str> {
    match standing {
        JobStanding::Unspecified => None,
        JobStanding::Waiting => Some("waiting"),
        JobStanding::InWork => Some("in_work"),
        JobStanding::InReview => Some("in_review"),
        JobStanding::Done => Some("done"),
    }
}

fn facts(job: &Job) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    if let Some(engine) = &job.engine {
        let cylinders = counted(engine.cylinders as usize, "cylinder");
        let (cc, strokes) = (breakpoint(engine.displacement_cc), engine.strokes);
        facts.push(("Engine", format!("{cc} cc, {cylinders}, {strokes}-stroke")));
    }
    if let Some(fuel) = &job.fuel {
        let (name, afr) = (
            plain(&fuel.display_name),
            breakpoint(fuel.stoichiometric_afr),
        );
        facts.push(("Fuel", format!("{name}, stoichiometric at {afr} : 1")));
    }
    facts.push(("Table", table_fact(job)));
    if let Some(limits) = &job.limits {
        facts.extend(
            limit_sentences(limits)
                .into_iter()
                .map(|sentence| ("Limit", sentence)),
        );
    }
    let bays: Vec<String> = job.bays.iter().map(|bay| plain(bay)).collect();
    facts.push(("Bays", bays.join(", ")));
    let head = plain(&job.head_revision);
    let stage = match job.stage.as_str() {
        "" => String::new(),
        stage => format!(", stage {}", plain(stage)),
    };
    let standing = standing_name(job.standing())
        .map_or_else(String::new, |name| format!(", {}", name.replace('_', " ")));
    facts.push((
        "So far",
        format!(
            "{}, {head} in force{stage}{standing}",
            counted(job.pull_count as usize, "pull")
        ),
    ));
    if !job.open_proposals.is_empty() {
        facts.push(("To review", open_proposals(job, ", ")));
    }
    facts
}

fn open_proposals(job: &Job, between: &str) -> String {
    let numbers: Vec<&str> = job.open_proposals.iter().map(|name| number(name)).collect();
    plain(&numbers.join(between))
}

fn table_fact(job: &Job) -> String {
    let content = content_name(job.content()).replace('_', " ");
    let shape = job.axes.as_ref().map_or_else(String::new, |axes| {
        let ends = |values: &[f64]| match (values.first(), values.last()) {
            (Some(&low), Some(&high)) => format!("{} to {}", breakpoint(low), breakpoint(high)),
            _ => "none".to_owned(),
        };
        format!(
            "{} plate angles ({} %) by {} speeds ({} rpm), ",
            axes.plate_percent.len(),
            ends(&axes.plate_percent),
            axes.rpm.len(),
            ends(&axes.rpm),
        )
    });
    let dead = match job.content() {
        TableContent::TotalTimeMs => format!(", dead time {} ms", breakpoint(job.dead_time_ms)),
        _ => String::new(),
    };
    format!(
        "{shape}{content}{dead}, in steps of {}",
        breakpoint(job.resolution)
    )
}

fn next(job: &Job, options: &RenderOptions) -> String {
    if job.name.is_empty() {
        return String::new();
    }
    let name = short(&job.name);
    let bay = job.bays.first().map_or("NAME", String::as_str);
    let head = options.paint(Ink::Strong, "Next");
    let command = match job.open_proposals.first() {
        Some(proposal) => format!("baytrim proposal show {name}/{}", number(proposal)),
        None if job.pull_count > 0 => format!("baytrim propose {name}"),
        None => format!("baytrim pull submit {name} LOG --bay {bay}"),
    };
    format!("\n{head}\n  {}\n", plain(&command))
}
