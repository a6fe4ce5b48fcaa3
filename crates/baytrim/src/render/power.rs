//! Power of pulls side by side: peaks, air, curves, what compares and what changed.

use baytrim_api::v1::{
    AirReading, AirSource, ComparedPower, PowerPoint, PowerSideBySide, PowerSource, PullAir,
    PullPower,
};

use super::columns::{Edge, columns};
use super::number::{breakpoint, fixed, signed};
use super::style::{Ink, RenderOptions};
use super::text::{hang, minute, plain, sentence, wrap};
use crate::name::number;

/// Returns the power of pulls of `job` as a tuner reads it.
pub fn render_power(found: &PowerSideBySide, job: &str, options: &RenderOptions) -> String {
    let title = format!(
        "Power of {job} at the roller, at the air of {}",
        plain(&found.standard_title)
    );
    let mut page = options.paint(Ink::Strong, &title) + "\n";
    if found.pulls.is_empty() {
        let text = "No pull has a roller in its log: log roller_speed, and roller_torque or the inertia of the bay's roller in the job file.";
        return page + &wrap(text, options.width, 0);
    }
    page += &peaks(found, options);
    let parts = [
        change(found, options),
        doubts(found, options),
        airs(found, options),
        curves(found, options),
        smoothing(found, options),
    ];
    for part in parts.into_iter().filter(|part| !part.is_empty()) {
        page += &format!("\n{part}");
    }
    page
}

/// Returns the power of a pull in short.
pub(super) fn render_pull_power(power: &PullPower, options: &RenderOptions) -> String {
    let mut text = String::new();
    if power.peak_power.is_some() {
        text += &format!(
            "Most {} kW, {} Nm",
            peak(power.peak_power.as_ref(), true),
            peak(power.peak_torque.as_ref(), false)
        );
        if let Some(by) = &power.correction {
            text += &format!(
                ", at the air of {} (factor {})",
                plain(&by.title),
                fixed(by.correction_factor, 4)
            );
        }
        text += ". ";
    }
    let outside = power.correction.iter().flat_map(|by| &by.outside);
    let said: Vec<String> = outside
        .chain(&power.remarks)
        .map(|remark| sentence(&plain(remark)) + ".")
        .collect();
    text += &said.join(" ");
    options.paint(Ink::Strong, "Power at the roller") + "\n" + &wrap(&text, options.width, 2)
}

fn peaks(found: &PowerSideBySide, options: &RenderOptions) -> String {
    let row = |pull: &ComparedPower| {
        let power = pull.power.as_ref();
        let factor = power.and_then(|power| power.correction.as_ref());
        [
            short_pull(pull),
            plain(&pull.bay),
            format!("{} {}", number(&pull.stage), number(&pull.revision)),
            peak(power.and_then(|power| power.peak_power.as_ref()), true),
            peak(power.and_then(|power| power.peak_torque.as_ref()), false),
            factor.map_or_else(
                || "-".to_owned(),
                |by| fixed(by.correction_factor, 4) + if by.valid { "" } else { " !" },
            ),
            pull.difference_percent
                .map_or_else(|| "-".to_owned(), |percent| signed(percent, 1) + " %"),
        ]
    };
    let rows: Vec<_> = found.pulls.iter().map(row).collect();
    let first = found.pulls.iter().find(|pull| has_curve(pull));
    let against = first.map_or_else(
        || "against".to_owned(),
        |pull| format!("against {}", short_pull(pull)),
    );
    let heads = [
        ("pull", Edge::Left),
        ("bay", Edge::Left),
        ("under", Edge::Left),
        ("peak kW", Edge::Right),
        ("peak Nm", Edge::Right),
        ("factor", Edge::Left),
        (against.as_str(), Edge::Right),
    ];
    columns(heads, &rows, options)
}

fn has_curve(pull: &ComparedPower) -> bool {
    pull.power
        .as_ref()
        .is_some_and(|power| !power.points.is_empty())
}

fn short_pull(pull: &ComparedPower) -> String {
    number(&pull.name).to_owned()
}

fn peak(point: Option<&PowerPoint>, is_power: bool) -> String {
    let Some(point) = point else {
        return "-".to_owned();
    };
    let (own, corrected) = if is_power {
        (point.power_kw, point.corrected_power_kw)
    } else {
        (point.torque_nm, point.corrected_torque_nm)
    };
    let note = if corrected.is_some() {
        ""
    } else {
        " uncorrected"
    };
    format!(
        "{}{note} at {}",
        fixed(corrected.unwrap_or(own), 1),
        breakpoint(point.rpm)
    )
}

fn airs(found: &PowerSideBySide, options: &RenderOptions) -> String {
    let row = |pull: &ComparedPower| {
        let air = pull.air.as_ref();
        let reading = |pick: fn(&PullAir) -> Option<&AirReading>, decimals| {
            air.and_then(pick)
                .map_or_else(|| "-".to_owned(), |found| told(found, decimals))
        };
        [
            short_pull(pull),
            minute(pull.create_time.map(|time| time.to_string())),
            reading(|air| air.pressure.as_ref(), 1),
            reading(|air| air.temperature.as_ref(), 1),
            reading(|air| air.humidity.as_ref(), 0),
            air.and_then(|air| air.density_kg_m3)
                .map_or_else(|| "-".to_owned(), |density| fixed(density, 3)),
        ]
    };
    let rows: Vec<_> = found.pulls.iter().map(row).collect();
    let heads = [
        ("air", Edge::Left),
        ("finished (UTC)", Edge::Left),
        ("kPa", Edge::Left),
        ("C", Edge::Left),
        ("% humid", Edge::Left),
        ("kg/m3", Edge::Right),
    ];
    columns(heads, &rows, options)
}

fn told(reading: &AirReading, decimals: usize) -> String {
    let mean = fixed(reading.mean, decimals);
    match reading.source() {
        AirSource::Logged => {
            let change = signed(reading.change, decimals);
            if change.trim_start_matches(['0', '.']).is_empty() {
                mean
            } else {
                format!("{mean} ({change})")
            }
        }
        AirSource::Given => mean + " given",
        AirSource::Intake => mean + " intake",
        AirSource::Unspecified => mean + " ?",
    }
}

/// Columns of one pull: four numbers of seven.
const PULL_COLUMNS: usize = 4 * 8 + 1;

fn curves(found: &PowerSideBySide, options: &RenderOptions) -> String {
    let pulls: Vec<&ComparedPower> = found.pulls.iter().filter(|pull| has_curve(pull)).collect();
    let at_once = (options.width.saturating_sub(8) / PULL_COLUMNS).max(1);
    let tables: Vec<String> = pulls
        .chunks(at_once)
        .map(|chunk| curve_table(chunk, options))
        .collect();
    tables.join("\n")
}

fn curve_table(pulls: &[&ComparedPower], options: &RenderOptions) -> String {
    let mut head = format!("{:>8}", "");
    let mut units = format!("{:>8}", "rpm");
    for pull in pulls {
        head += &format!(" {:<32}", format!("  {}", short_pull(pull)));
        units += &format!(" {:>8}{:>8}{:>8}{:>8}", "kW", "at std", "Nm", "at std");
    }
    let mut page = options.paint(Ink::Strong, head.trim_end()) + "\n";
    page += &(options.paint(Ink::Quiet, &units) + "\n");
    let points = |pull: &&ComparedPower| -> Vec<PowerPoint> {
        let power = pull.power.as_ref();
        power.map_or_else(Vec::new, |power| power.points.clone())
    };
    let mut speeds: Vec<f64> = pulls
        .iter()
        .flat_map(points)
        .map(|point| point.rpm)
        .collect();
    speeds.sort_by(f64::total_cmp);
    speeds.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    for rpm in speeds {
        let mut line = format!("{:>8}", breakpoint(rpm));
        for pull in pulls {
            let point = points(pull)
                .into_iter()
                .find(|point| (point.rpm - rpm).abs() < 1e-6);
            let cells = point.map_or_else(
                || [(); 4].map(|()| "-".to_owned()),
                |point| {
                    let some = |value: Option<f64>| {
                        value.map_or_else(|| "-".to_owned(), |value| fixed(value, 1))
                    };
                    [
                        fixed(point.power_kw, 1),
                        some(point.corrected_power_kw),
                        fixed(point.torque_nm, 1),
                        some(point.corrected_torque_nm),
                    ]
                },
            );
            line.push(' ');
            for cell in cells {
                line += &format!("{cell:>8}");
            }
        }
        page += &(line + "\n");
    }
    page
}

fn doubts(found: &PowerSideBySide, options: &RenderOptions) -> String {
    let mut lines = String::new();
    for pull in &found.pulls {
        let remarks = pull.power.iter().flat_map(|power| &power.remarks);
        let mut said: Vec<String> = Vec::new();
        for doubt in pull.doubts.iter().chain(remarks) {
            let text = format!("! {}: {}", short_pull(pull), plain(doubt));
            if !said.contains(&text) {
                lines += &hang(&text, options.width, 2, 4);
                said.push(text);
            }
        }
    }
    if lines.is_empty() {
        return String::new();
    }
    options.paint(Ink::Alert, "Compare with care") + "\n" + &lines
}

fn change(found: &PowerSideBySide, options: &RenderOptions) -> String {
    let Some(change) = &found.change else {
        return String::new();
    };
    let mut page = options.paint(Ink::Strong, "Engine or day?") + "\n";
    for sentence in &change.sentences {
        page += &wrap(&plain(sentence), options.width, 2);
    }
    page
}

fn smoothing(found: &PowerSideBySide, options: &RenderOptions) -> String {
    let mut page = String::new();
    let mut told: Vec<String> = Vec::new();
    for power in found.pulls.iter().filter_map(|pull| pull.power.as_ref()) {
        let source = match power.source() {
            PowerSource::Unspecified => continue,
            PowerSource::Torque => "roller torque",
            PowerSource::Inertia => "the roller's inertia",
        };
        let text = format!(
            "From {source}, smoothed over {} s: nothing faster than {} Hz is left. Each point is the mean of {} rpm.",
            breakpoint(power.window_s),
            fixed(power.bandwidth_hz, 1),
            breakpoint(power.band_rpm),
        );
        if !told.contains(&text) {
            told.push(text);
        }
    }
    for text in told.iter().chain(&found.cautions) {
        for line in wrap(text, options.width, 0).lines() {
            page += &(options.paint(Ink::Quiet, line) + "\n");
        }
    }
    page
}
