//! Two stages of a job, one against the other.

use baytrim_api::v1::{
    Axes, ChangeVerdict, ComparedNode, ComparedStage, FigureComparison, PowerComparison,
    StageComparison,
};

use super::grid::{Cell, Grid};
use super::number::{fixed, signed};
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang, plain, wrap};
use crate::name::number;

/// How a node is drawn.
type Draw<'a> = &'a dyn Fn(&ComparedNode) -> Cell;

/// Returns what two stages come to: overall, node by node, and what limits it.
pub fn render_comparison(found: &StageComparison, axes: &Axes, options: &RenderOptions) -> String {
    let sides = [&found.from_stage, &found.to_stage].map(Option::as_ref);
    let names = sides.map(|side| side.map_or_else(String::new, title));
    let head = plain(&format!("From {} to {}", names[0], names[1]));
    let mut page = options.paint(Ink::Strong, &head) + "\n";
    for (side, name) in sides.iter().zip(&names) {
        if let Some(side) = side {
            page += &hang(
                &told(side, name, found.tolerance_percent),
                options.width,
                2,
                4,
            );
        }
    }
    let figures = [
        (&found.off_target_percent, "lambda off target"),
        (&found.within_percent, "nodes within tolerance"),
    ];
    for (figure, what) in figures {
        if let Some(figure) = figure {
            page += &hang(&change(what, figure), options.width, 2, 4);
        }
    }
    if let Some(power) = &found.power {
        page += &hang(&power_text(power), options.width, 2, 4);
    }
    page += &hang(&repeatability(found), options.width, 2, 4);
    for remark in &found.remarks {
        let line = format!("Note: {}", plain(remark));
        page += &options.paint(Ink::Alert, &hang(&line, options.width, 2, 4));
    }
    page + &grids(found, axes, &names, options)
}

fn title(side: &ComparedStage) -> String {
    side.stage.as_ref().map_or_else(String::new, |stage| {
        format!("{} ({})", number(&stage.name), stage.title)
    })
}

fn told(side: &ComparedStage, name: &str, tolerance: f64) -> String {
    let share = side.within_fraction.map_or_else(String::new, |share| {
        format!(
            ", {} % of nodes within {} %",
            fixed(100.0 * share, 0),
            fixed(tolerance, 0)
        )
    });
    plain(&format!(
        "{name}, table {}, {}: lambda {} % off target{share}",
        side.revision,
        counted(side.pulls.len(), "pull"),
        fixed(side.off_target_percent, 1)
    ))
}

fn change(what: &str, figure: &FigureComparison) -> String {
    let size = signed(figure.difference_percent, 1);
    let interval = figure.interval_low.zip(figure.interval_high);
    let Some((low, high)) = interval else {
        return format!(
            "Change of {what}: {size} percent; with fewer than two pulls of a stage over most of the table nobody knows whether that is more than noise"
        );
    };
    let worth = if figure.inside_the_noise == Some(true) {
        "inside the noise of the pulls"
    } else {
        "more than the pulls differ by"
    };
    format!(
        "Change of {what}: {size} percent, 95 % interval {} to {}: {worth}",
        signed(low, 1),
        signed(high, 1)
    )
}

fn power_text(power: &PowerComparison) -> String {
    let air = if power.corrected {
        "at standard air"
    } else {
        "as measured, not corrected"
    };
    let peaks = format!(
        "Power {air}: most {} kW and {} Nm, then {} kW and {} Nm. ",
        fixed(power.from_peak_kw, 1),
        fixed(power.from_peak_nm, 1),
        fixed(power.to_peak_kw, 1),
        fixed(power.to_peak_nm, 1)
    );
    let what = format!(
        "power from {} to {} rpm",
        fixed(power.start_rpm, 0),
        fixed(power.end_rpm, 0)
    );
    let figure = power.change.as_ref();
    figure.map_or_else(
        || peaks.clone(),
        |figure| peaks.clone() + &change(&what, figure),
    )
}

fn repeatability(found: &StageComparison) -> String {
    let pair = found
        .pull_repeatability_percent
        .zip(found.node_repeatability_percent);
    let Some((pull, node)) = pair else {
        return "Repeatability: no place was pulled twice within a stage".to_owned();
    };
    format!(
        "Repeatability: a pull as a whole {} %, a node within it {} %, from {}",
        fixed(pull, 2),
        fixed(node, 2),
        counted(found.repeat_count as usize, "repeated pull")
    )
}

fn grids(
    found: &StageComparison,
    axes: &Axes,
    names: &[String; 2],
    options: &RenderOptions,
) -> String {
    if found.nodes.is_empty() || axes.rpm.is_empty() {
        return String::new();
    }
    let off = |value: Option<f64>| match value {
        Some(percent) => Cell::new(signed(percent, 1), lean(percent)),
        None => Cell::new("·", Ink::Quiet),
    };
    let moved = |node: &ComparedNode| {
        let Some(percent) = node.change_percent else {
            return Cell::new("·", Ink::Quiet);
        };
        let (mark, ink) = match node.verdict() {
            ChangeVerdict::Closer => (' ', lean(percent)),
            ChangeVerdict::Further => ('!', Ink::Alert),
            _ => ('~', Ink::Quiet),
        };
        Cell {
            body: signed(percent, 1),
            mark,
            ink,
        }
    };
    let parts: [(String, Draw<'_>); 3] = [
        (
            format!("Lambda off target in {}, percent, + is lean", names[0]),
            &|node| off(node.from_off_percent),
        ),
        (
            format!("Lambda off target in {}, percent, + is lean", names[1]),
            &|node| off(node.to_off_percent),
        ),
        (
            "Change of lambda against target, percent".to_owned(),
            &moved,
        ),
    ];
    let mut page = String::new();
    for (head, cell) in parts {
        let grid = Grid {
            rpm: &axes.rpm,
            plate_percent: &axes.plate_percent,
            cells: cells(found, axes, cell),
        };
        page += &format!("\n{}\n", options.paint(Ink::Strong, &plain(&head)));
        page += &grid.draw(options);
    }
    let legend = "no mark: closer to target, ! further from it, ~ inside the noise, · not measured";
    page + &options.paint(Ink::Quiet, &wrap(legend, options.width, 0))
}

/// Returns a cell for each node of the table; the answer leaves out nodes that no stage measured.
fn cells(found: &StageComparison, axes: &Axes, cell: &dyn Fn(&ComparedNode) -> Cell) -> Vec<Cell> {
    let places = axes
        .plate_percent
        .iter()
        .flat_map(|&plate| axes.rpm.iter().map(move |&rpm| (rpm, plate)));
    let mut told = found.nodes.iter().peekable();
    places
        .map(|(rpm, plate)| {
            let here = |node: &&ComparedNode| {
                (node.rpm - rpm).abs() < 1e-9 && (node.plate_percent - plate).abs() < 1e-9
            };
            told.next_if(here)
                .map_or_else(|| Cell::new("·", Ink::Quiet), cell)
        })
        .collect()
}

/// Returns the ink of a node that needs more fuel, or less.
fn lean(percent: f64) -> Ink {
    if percent > 0.0 { Ink::More } else { Ink::Less }
}
