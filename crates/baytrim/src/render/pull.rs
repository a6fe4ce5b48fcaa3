//! A pull: what was refused and why, its delay, its coverage; lists of pulls.

use baytrim_api::v1::{
    Axes, ChannelMapSource, Delay, DelaySource, FilmBand, NodeCoverage, Pull, SensorBand,
};

use super::columns::{Edge, columns};
use super::grid::{Cell, Grid};
use super::marks::gate;
use super::number::{fixed, share_percent, signed};
use super::power::render_pull_power;
use super::realised::render_realised;
use super::recording::render_recording;
use super::strip::render_strip;
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang, minute, moment, plain, sentence, wrap};
use super::vehicle::render_behaviour;
use crate::name::{number, short};

/// Returns a pull as a tuner reads it; `axes` are the job's, so that nodes never visited show too.
/// Without them, the axes are those of the visited nodes.
///
/// A pull that was only checked, so has no number, says so.
pub fn render_pull(pull: &Pull, axes: Option<&Axes>, options: &RenderOptions) -> String {
    let parts = [
        heading(pull, options),
        acceptance(pull, options),
        warnings(pull, options),
        pull.realised.as_ref().map_or_else(String::new, |found| {
            render_realised(&pull.revision, found, options)
        }),
        pull.delay
            .as_ref()
            .map_or_else(String::new, |delay| delay_text(delay, options)),
        film(&pull.film, options),
        sensors(&pull.sensors, options),
        pull.power
            .as_ref()
            .map_or_else(String::new, |power| render_pull_power(power, options)),
        pull.behaviour
            .as_ref()
            .map_or_else(String::new, |found| render_behaviour(found, options)),
        coverage(&pull.coverage, axes, options),
        pull.recording
            .as_ref()
            .map_or_else(String::new, |recording| {
                render_recording(recording, options)
            }),
    ];
    let parts: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    parts.join("\n")
}

/// Returns the pulls of a job, one a line.
pub fn render_pulls(pulls: &[Pull], options: &RenderOptions) -> String {
    if pulls.is_empty() {
        return "No pulls yet.\n".to_owned();
    }
    let row = |pull: &Pull| {
        let worst = pull
            .refused
            .iter()
            .max_by(|a, b| a.refused_s.total_cmp(&b.refused_s));
        [
            short(&pull.name),
            plain(&pull.bay),
            plain(number(&pull.revision)),
            plain(&pull.stage),
            fixed(pull.duration_s, 0) + " s",
            fixed(share_percent(pull.accepted_s, pull.duration_s), 0) + " %",
            worst.map_or_else(|| "-".to_owned(), |count| plain(&count.gate)),
            minute(pull.create_time.map(|time| time.to_string())),
            source_name(pull),
        ]
    };
    let rows: Vec<_> = pulls.iter().map(row).collect();
    let heads = [
        ("pull", Edge::Left),
        ("bay", Edge::Left),
        ("under", Edge::Left),
        ("stage", Edge::Left),
        ("length", Edge::Right),
        ("accepted", Edge::Right),
        ("most refused by", Edge::Left),
        ("finished (UTC)", Edge::Left),
        ("log", Edge::Left),
    ];
    columns(heads, &rows, options)
}

fn source_name(pull: &Pull) -> String {
    if pull.source_name.is_empty() {
        "live".to_owned()
    } else {
        plain(&pull.source_name)
    }
}

/// Returns the riding mode, and the grip table that was loaded.
fn mode(pull: &Pull) -> String {
    match (pull.mode.as_str(), pull.grip_revision.as_str()) {
        ("", _) => String::new(),
        (mode, "") => format!(", mode {mode}"),
        (mode, revision) => format!(", mode {mode} with grip table {revision}"),
    }
}

fn heading(pull: &Pull, options: &RenderOptions) -> String {
    let name = match pull.name.as_str() {
        "" => "Only checked, not recorded".to_owned(),
        name => format!("Pull {}", short(name)),
    };
    let title = format!(
        "{name}: {} from bay {} under {}{}{}",
        source_name(pull),
        pull.bay,
        number(&pull.revision),
        match pull.stage.as_str() {
            "" => String::new(),
            stage => format!(", stage {stage}"),
        },
        mode(pull)
    );
    let mut page = String::new();
    for line in wrap(&plain(&title), options.width, 0).lines() {
        page += &(options.paint(Ink::Strong, line) + "\n");
    }
    if !pull.name.is_empty() {
        let made = moment(pull.create_time.map(|time| time.to_string()));
        let line = format!("Finished {made} by {}", plain(&pull.creator));
        page += &(options.paint(Ink::Quiet, &line) + "\n");
    }
    if let Some(map) = read_with(pull) {
        page += &(options.paint(Ink::Quiet, &map) + "\n");
    }
    page
}

/// Says which channel map the log was read with; nothing of a live pull, which needs none.
fn read_with(pull: &Pull) -> Option<String> {
    let map = match pull.channel_map_source() {
        ChannelMapSource::Unspecified => return None,
        ChannelMapSource::Standard if pull.source_name.is_empty() => return None,
        ChannelMapSource::Sent => "the channel map that was sent with the log".to_owned(),
        ChannelMapSource::Job => "the job's channel map for the bay".to_owned(),
        ChannelMapSource::Bay => format!("channel map {} of the bay", number(&pull.channel_map)),
        ChannelMapSource::Standard => "the standard column names".to_owned(),
    };
    Some(format!("Read with {}", plain(&map)))
}

fn acceptance(pull: &Pull, options: &RenderOptions) -> String {
    let share = fixed(share_percent(pull.accepted_s, pull.duration_s), 0);
    let text = format!(
        "{} samples over {} s; {} s accepted ({share} %).",
        pull.sample_count,
        fixed(pull.duration_s, 1),
        fixed(pull.accepted_s, 1),
    );
    let mut page = wrap(&text, options.width, 0);
    page += &render_strip(&pull.strip, pull.duration_s, options);
    if pull.refused.is_empty() {
        return page + "Nothing was refused.\n";
    }
    page.push('\n');
    page += &(options.paint(Ink::Strong, "Refused") + "\n");
    for count in &pull.refused {
        let line = format!(
            "{} {:<16} {:>7} s {:>4} %   {}",
            gate(&count.gate),
            plain(&count.gate),
            fixed(count.refused_s, 1),
            fixed(share_percent(count.refused_s, pull.duration_s), 0),
            plain(&count.sentence),
        );
        page += &hang_after_columns(&line, options.width);
    }
    page
}

/// Wraps the sentence at the end of a line whose columns must keep their spaces.
fn hang_after_columns(line: &str, width: usize) -> String {
    const COLUMNS: usize = 38;
    let head: String = line.chars().take(COLUMNS).collect();
    let sentence: String = line.chars().skip(COLUMNS).collect();
    let room = width.saturating_sub(COLUMNS + 2).max(20);
    let mut page = String::new();
    for (row, part) in wrap(&sentence, room, 0).lines().enumerate() {
        let lead = if row == 0 {
            head.clone()
        } else {
            " ".repeat(COLUMNS)
        };
        page += &format!("  {lead}{part}\n");
    }
    if page.is_empty() {
        format!("  {}\n", head.trim_end())
    } else {
        page
    }
}

fn warnings(pull: &Pull, options: &RenderOptions) -> String {
    if pull.warnings.is_empty() {
        return String::new();
    }
    let mut page = options.paint(Ink::Alert, "Warnings") + "\n";
    for warning in &pull.warnings {
        let text = format!("! {} ({})", plain(&warning.message), plain(&warning.code));
        page += &hang(&text, options.width, 2, 4);
    }
    page
}

fn delay_text(delay: &Delay, options: &RenderOptions) -> String {
    let with_error = |value: f64, error: f64, decimals: usize| {
        let value = fixed(value, decimals);
        if error > 0.0 {
            format!("{value} ± {}", fixed(error, decimals))
        } else {
            value
        }
    };
    let remark = match delay.source() {
        DelaySource::Given => String::new(),
        _ => format!(". {}", sentence(&plain(&delay.remark))),
    };
    let source = match delay.source() {
        DelaySource::Given => "as the job gives it",
        DelaySource::Identified => "found from this pull",
        DelaySource::Prior => "by physics alone",
        DelaySource::Bay => "as earlier pulls in the bay told",
        DelaySource::Unspecified => "of unknown source",
    };
    let text = format!(
        "{} working cycles, then {} l of gas to the sensor, then a sensor lag of {} s; {source}{remark}",
        with_error(delay.cycles, delay.cycles_error, 2),
        with_error(delay.gas_volume_l, delay.gas_volume_error_l, 2),
        with_error(delay.lag_s, delay.lag_error_s, 3),
    );
    options.paint(Ink::Strong, "Delay") + "\n" + &wrap(&text, options.width, 2)
}

/// Returns the film meter: what tip-in and tip-out leave between them.
fn film(bands: &[FilmBand], options: &RenderOptions) -> String {
    if bands.is_empty() {
        return String::new();
    }
    let title = "Wall film: how much leaner an opening throttle reads than a closing one";
    let mut page = options.paint(Ink::Strong, title) + "\n";
    for band in bands {
        let line = format!(
            "{} to {} rpm: {} ± {} % ({} s and {} s)",
            fixed(band.start_rpm, 0),
            fixed(band.end_rpm, 0),
            signed(band.difference_percent, 1),
            fixed(band.standard_error_percent, 1),
            fixed(band.tip_in_s, 0),
            fixed(band.tip_out_s, 0),
        );
        page += &hang(&line, options.width, 2, 4);
    }
    page
}

/// Returns how far several lambda sensors are apart.
fn sensors(bands: &[SensorBand], options: &RenderOptions) -> String {
    if bands.is_empty() {
        return String::new();
    }
    let title = "Lambda sensors: how much leaner each reads than the mean of all";
    let mut page = options.paint(Ink::Strong, title) + "\n";
    for band in bands {
        let readings = band.readings.iter().map(|reading| {
            let percent = signed(reading.difference_percent, 1);
            format!("{} {percent} %", plain(&reading.sensor))
        });
        let line = format!(
            "{} to {} rpm: {} ({} s)",
            fixed(band.start_rpm, 0),
            fixed(band.end_rpm, 0),
            readings.collect::<Vec<_>>().join(", "),
            fixed(band.read_s, 0),
        );
        page += &hang(&line, options.width, 2, 4);
    }
    page
}

fn coverage(visited: &[NodeCoverage], axes: Option<&Axes>, options: &RenderOptions) -> String {
    if visited.is_empty() {
        return options.paint(Ink::Strong, "Coverage") + "\n  no node was visited\n";
    }
    let own = own_axes(visited);
    let axes = axes.unwrap_or(&own);
    let node_count = axes.rpm.len() * axes.plate_percent.len();
    let seen = visited.iter().filter(|node| node.visits > 0).count();
    let again = visited.iter().filter(|node| node.visits > 1).count();
    let seconds: f64 = visited.iter().map(|node| node.dwell_s).sum();
    let head = format!(
        "Coverage: dwell seconds; {seen} of {} visited, {again} more than once, {} s in all",
        counted(node_count, "node"),
        fixed(seconds, 0),
    );
    let mut page = String::new();
    for line in wrap(&head, options.width, 0).lines() {
        page += &(options.paint(Ink::Strong, line) + "\n");
    }
    let cells = axes.plate_percent.iter().flat_map(|&plate_percent| {
        axes.rpm.iter().map(move |&rpm| {
            let here = |node: &&NodeCoverage| {
                same(node.rpm, rpm) && same(node.plate_percent, plate_percent)
            };
            coverage_cell(visited.iter().find(here))
        })
    });
    let grid = Grid {
        rpm: &axes.rpm,
        plate_percent: &axes.plate_percent,
        cells: cells.collect(),
    };
    page += &grid.draw(options);
    let touched = visited.iter().any(|node| node.visits == 0);
    let touched = if touched { "   0 hardly touched" } else { "" };
    page + &format!("\n  · never visited{touched}   * one visit only\n")
}

fn coverage_cell(node: Option<&NodeCoverage>) -> Cell {
    let Some(node) = node else {
        return Cell::new("·", Ink::Quiet);
    };
    let dwell = fixed(node.dwell_s, usize::from(node.dwell_s < 99.95));
    match node.visits {
        0 => Cell::new("0", Ink::Quiet),
        1 => Cell {
            body: dwell,
            mark: '*',
            ink: Ink::Less,
        },
        _ => Cell::new(dwell, Ink::More),
    }
}

fn own_axes(visited: &[NodeCoverage]) -> Axes {
    let distinct = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values.dedup_by(|a, b| same(*a, *b));
        values
    };
    Axes {
        rpm: distinct(visited.iter().map(|node| node.rpm).collect()),
        plate_percent: distinct(visited.iter().map(|node| node.plate_percent).collect()),
    }
}

/// Returns whether two breakpoints are the same; they travel as they are, so only to be safe.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * (1.0 + a.abs())
}
