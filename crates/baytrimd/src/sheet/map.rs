//! A table of nodes as a picture on paper: coloured cells with their numbers.

use baytrim_model::axis::{Axes, Axis};

use super::paper::{Colour, EDGE, INK, LINE, Look, Mark, Paper, SMALL, SOFT, Weight};
use super::words::signed;
use crate::page::saying::{change_class, light_colours};

/// From so many columns on, numbers can't be read on paper any more.
const NUMBERED_MAX: usize = 22;
/// Width of the column of plate angles.
const HEAD: f32 = 30.0;
/// Least height of a row whose numbers can be read.
const LEAST: f32 = 9.2;
/// Height of what stands around the rows: caption, speeds, and the space below.
const AROUND: f32 = 38.0;

/// A cell: what is written in it, and the fuel in percent that colours it; none leaves it hatched.
pub(super) struct Cell {
    pub(super) text: String,
    pub(super) percent: Option<f64>,
}

/// Returns the height of a row with which `count` tables of nodes fit in `left`; none where they could not be read.
pub(super) fn row_height(axes: &Axes, count: usize, left: f32) -> Option<f32> {
    let rows = axes.plate_percent.len() as f32;
    let most = most(axes);
    let least = if is_numbered(axes) {
        LEAST
    } else {
        most.min(LEAST / 2.0)
    };
    let height = (left / count as f32 - AROUND) / rows;
    (height >= least).then(|| height.min(most))
}

/// Returns the height of a row where there is room.
pub(super) fn most(axes: &Axes) -> f32 {
    if is_numbered(axes) {
        return 12.6;
    }
    (300.0 / axes.plate_percent.len() as f32).min(9.0)
}

fn is_numbered(axes: &Axes) -> bool {
    axes.rpm.len() <= NUMBERED_MAX
}

/// Puts a table of nodes with rows of that height.
pub(super) fn grid(
    paper: &mut Paper,
    axes: &Axes,
    height: f32,
    caption: &str,
    cell: &dyn Fn(usize) -> Cell,
) {
    let (columns, rows) = (axes.rpm.len(), axes.plate_percent.len());
    let width = (Paper::width() - HEAD) / columns as f32;
    let is_numbered = is_numbered(axes);
    paper.room(height * rows as f32 + AROUND);
    let bold = Look {
        weight: Weight::Bold,
        colour: INK,
        ..SMALL
    };
    paper.text(EDGE, paper.y + 8.0, bold, caption);
    paper.space(13.0);
    let size = (width * 0.3).clamp(4.0, 7.5).min(height);
    let look = Look { size, ..SMALL };
    let step = if is_numbered { 1 } else { 5 };
    speeds(paper, &axes.rpm, width, step, look);
    let top = paper.y;
    for plate in 0..rows {
        let y = top + plate as f32 * height;
        if is_numbered || plate % step == 0 {
            let text = format!("{} %", axes.plate_percent.breakpoints()[plate]);
            let x = EDGE + HEAD - 4.0 - paper.measure(look, &text);
            paper.text(x, y + height / 2.0 + size * 0.36, look, &text);
        }
        for rpm in 0..columns {
            let x = EDGE + HEAD + rpm as f32 * width;
            let cell = cell(axes.node(rpm, plate));
            let text = if is_numbered { cell.text.as_str() } else { "" };
            fill(paper, (x, y), (width, height), cell.percent, text);
        }
    }
    paper.y = top + height * rows as f32 + 8.0;
}

fn speeds(paper: &mut Paper, rpm: &Axis, width: f32, step: usize, look: Look) {
    for (column, value) in rpm.breakpoints().iter().enumerate().step_by(step) {
        let text = value.to_string();
        let middle = EDGE + HEAD + (column as f32 + 0.5) * width;
        let x = middle - paper.measure(look, &text) / 2.0;
        paper.text(x, paper.y + look.size, look, &text);
    }
    paper.space(look.size + 4.0);
}

fn fill(
    paper: &mut Paper,
    (x, y): (f32, f32),
    (width, height): (f32, f32),
    percent: Option<f64>,
    text: &str,
) {
    let (ground, ink) = percent.map_or(([0xff; 3], SOFT), colours);
    paper.mark(Mark::Area {
        x,
        y,
        width: width - 0.6,
        height: height - 0.6,
        colour: ground,
    });
    if percent.is_none() {
        let middle = y + height / 2.0;
        let from = (x + width * 0.4, middle);
        paper.mark(Mark::Line {
            from,
            to: (x + width * 0.6, middle),
            width: 0.5,
            colour: LINE,
        });
        return;
    }
    let size = (width * 0.27).clamp(4.0, 7.5);
    let look = Look {
        weight: Weight::Regular,
        size,
        colour: ink,
    };
    let middle = x + (width - 0.6) / 2.0 - paper.measure(look, text) / 2.0;
    paper.text(middle, y + height / 2.0 + size * 0.36, look, text);
}

fn colours(percent: f64) -> (Colour, Colour) {
    light_colours(change_class(percent)).unwrap_or(([0xff; 3], INK))
}

/// Puts the scale of the colours.
pub(super) fn scale(paper: &mut Paper) {
    paper.room(26.0);
    let steps = [-11.0, -7.0, -4.0, -2.0, -0.5, 0.0, 0.5, 2.0, 4.0, 7.0, 11.0];
    let (less, more) = ("too much fuel (rich)", "fuel lacking (lean)");
    let start = EDGE + paper.measure(SMALL, less) + 8.0;
    paper.text(EDGE, paper.y + 11.0, SMALL, less);
    for (index, step) in steps.into_iter().enumerate() {
        let x = start + index as f32 * 27.0;
        fill(
            paper,
            (x, paper.y),
            (27.0, 15.0),
            Some(step),
            &signed(step, 1),
        );
    }
    paper.text(start + 11.0 * 27.0 + 6.0, paper.y + 11.0, SMALL, more);
    paper.space(22.0);
}
