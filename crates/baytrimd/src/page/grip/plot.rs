//! Drawings of plate over engine speed and over grip; the tables beside them hold the same numbers.

use baytrim_model::grip::GripCell;
use maud::{Markup, html};

use crate::page::number::breakpoint;

const WIDTH: f64 = 480.0;
const HEIGHT: f64 = 320.0;
/// Room left, above, right and below of what is drawn.
const EDGES: [f64; 4] = [44.0, 26.0, 52.0, 34.0];
/// Least way between the names of two lines, in units of the drawing.
const NAME_ROOM: f64 = 13.0;

/// Plate measured at one place of the hand.
#[derive(Debug, Clone, Copy)]
pub(in crate::page) struct Measured {
    /// Grip, percent.
    pub(in crate::page) grip_percent: f64,
    /// Plate, percent.
    pub(in crate::page) plate_percent: f64,
    /// Its 95 % interval.
    pub(in crate::page) interval: Option<(f64, f64)>,
}

fn down(plate_percent: f64) -> f64 {
    let [_, top, _, bottom] = EDGES;
    top + (100.0 - plate_percent) / 100.0 * (HEIGHT - top - bottom)
}

fn across(value: f64, [low, high]: [f64; 2]) -> f64 {
    let [left, _, right, _] = EDGES;
    left + (value - low) / (high - low) * (WIDTH - left - right)
}

fn at(value: f64) -> String {
    format!("{value:.1}")
}

fn path(points: &[(f64, f64)]) -> String {
    let steps = points.iter().enumerate().map(|(index, (x, y))| {
        let pen = if index == 0 { 'M' } else { 'L' };
        format!("{pen}{x:.1} {y:.1}")
    });
    steps.collect()
}

/// Returns the drawing's frame: plate upwards, `ticks` along the foot.
fn framed(words: &str, foot: &str, ends: [f64; 2], ticks: &[f64], inside: &Markup) -> Markup {
    let [left, _, right, bottom] = EDGES;
    html! {
        svg.grip-plot viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img" aria-label=(words) {
            @for plate in [0.0, 25.0, 50.0, 75.0, 100.0] {
                line.tick x1=(left) x2=(WIDTH - right) y1=(at(down(plate))) y2=(at(down(plate))) {}
                text x=(left - 5.0) y=(at(down(plate) + 4.0)) text-anchor="end" { (breakpoint(plate)) }
            }
            @for &tick in ticks {
                text x=(at(across(tick, ends))) y=(HEIGHT - bottom + 14.0) text-anchor="middle" { (breakpoint(tick)) }
            }
            text x=(at(f64::midpoint(left, WIDTH - right))) y=(HEIGHT - 4.0) text-anchor="middle" { (foot) }
            text x="4" y="12" { "plate %" }
            (inside)
        }
    }
}

/// Returns plate over engine speed, one line for each place of the hand, its grip written at its end.
pub(in crate::page) fn surface(cells: &[GripCell]) -> Markup {
    let speeds = || cells.iter().map(|cell| cell.rpm);
    let low = speeds().fold(f64::INFINITY, f64::min);
    let high = speeds().fold(f64::NEG_INFINITY, f64::max);
    if cells.is_empty() {
        return html! {};
    }
    let ends = if high > low {
        [low, high]
    } else {
        [low - 500.0, high + 500.0]
    };
    let mut lines: Vec<(f64, Vec<(f64, f64)>)> = Vec::new();
    for cell in cells {
        let point = (across(cell.rpm, ends), down(cell.plate_percent));
        match lines
            .last_mut()
            .filter(|(grip, _)| (*grip - cell.grip_percent).abs() < 1e-9)
        {
            Some((_, line)) => line.push(point),
            None => lines.push((cell.grip_percent, vec![point])),
        }
    }
    // Names from the foot upwards, each as far above the one before as it needs.
    let mut name_y = HEIGHT;
    let names: Vec<f64> = lines
        .iter()
        .map(|(_, line)| {
            let wanted = line.last().map_or(HEIGHT, |(_, y)| y + 4.0);
            name_y = wanted.min(name_y - NAME_ROOM);
            name_y
        })
        .collect();
    let inside = html! {
        @for ((grip, line), y) in lines.iter().zip(&names) {
            path.measured d=(path(line)) {}
            @for (x, y) in line { circle.measured cx=(at(*x)) cy=(at(*y)) r="2.5" {} }
            @if let Some((x, _)) = line.last() { text x=(at(x + 7.0)) y=(at(*y)) { (breakpoint(*grip)) " %" } }
        }
    };
    let words = "Plate over engine speed, one line for each place of the hand; the tables hold the same numbers";
    let ticks: Vec<f64> = match (low, high) {
        (low, high) if high - low > 1.0 => vec![low, f64::midpoint(low, high), high],
        (low, _) => vec![low],
    };
    framed(
        words,
        "engine speed, rpm (grip at the line's end)",
        ends,
        &ticks,
        &inside,
    )
}

/// Returns plate over grip: what was (dashed), what is proposed (solid), what was measured.
pub(in crate::page) fn curve(
    before: &[Vec<(f64, f64)>],
    after: &[Vec<(f64, f64)>],
    measured: &[Measured],
) -> Markup {
    let ends = [0.0, 100.0];
    let place = |&(grip, plate): &(f64, f64)| (across(grip, ends), down(plate));
    let drawn = |line: &Vec<(f64, f64)>| path(&line.iter().map(place).collect::<Vec<_>>());
    let inside = html! {
        @for line in before { path.before d=(drawn(line)) {} }
        @for line in after { path.after d=(drawn(line)) {} }
        @for point in measured {
            @let (x, y) = place(&(point.grip_percent, point.plate_percent));
            @if let Some((low, high)) = point.interval {
                line.interval x1=(at(x)) x2=(at(x)) y1=(at(down(low.max(0.0)))) y2=(at(down(high.min(100.0)))) {}
            }
            circle.measured cx=(at(x)) cy=(at(y)) r="3.5" {}
        }
    };
    let words = "Plate over grip; the table holds the same numbers";
    framed(
        words,
        "grip, percent",
        ends,
        &[0.0, 25.0, 50.0, 75.0, 100.0],
        &inside,
    )
}
