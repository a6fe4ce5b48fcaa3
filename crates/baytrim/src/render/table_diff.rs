//! What changed between two revisions of a table.

use baytrim_api::v1::Revision;

use super::grid::{Cell, Grid};
use super::number::{decimals_of, fixed, signed};
use super::proposal_grid::ink;
use super::style::{Ink, RenderOptions};
use super::text::{counted, plain, wrap};
use crate::name::{job_of, number};

/// Returns the fuel change from one revision to another at every node, in percent; node order.
pub(crate) fn change_percent(from: &Revision, to: &Revision) -> Vec<f64> {
    let totals = from.total_percent.iter().zip(&to.total_percent);
    let factors = totals.map(|(from, to)| (1.0 + to / 100.0) / (1.0 + from / 100.0));
    factors.map(|factor| (factor - 1.0) * 100.0).collect()
}

/// Returns what changed from one revision to another: the values that are new, and the fuel that they mean.
pub(crate) fn render_diff(from: &Revision, to: &Revision, options: &RenderOptions) -> String {
    let job = job_of(&to.name);
    let (old, new) = (number(&from.name), number(&to.name));
    let title = format!("Table {job}: from {old} to {new}");
    let is_new = |node: usize| from.values.get(node) != to.values.get(node);
    let count = (0..to.values.len()).filter(|&node| is_new(node)).count();
    let mut page = options.paint(Ink::Strong, &plain(&title)) + "\n";
    if !(from.grip_mode.is_empty() && to.grip_mode.is_empty()) {
        return page + &super::grip::difference(from, to, options);
    }
    let all = counted(to.values.len(), "node");
    if count == 0 {
        let text = format!("All of the {all} hold the same.");
        return page + &wrap(&text, options.width, 0);
    }
    page += &wrap(&format!("{count} of {all} changed."), options.width, 0);
    let decimals = decimals_of(to.values.iter().copied());
    let values = to.values.iter().enumerate().map(|(node, &value)| {
        if is_new(node) {
            Cell::new(fixed(value, decimals), Ink::Plain)
        } else {
            Cell::new("=", Ink::Quiet)
        }
    });
    let percents = change_percent(from, to);
    let changes = percents.iter().enumerate().map(|(node, &percent)| {
        if is_new(node) {
            Cell::new(signed(percent, 1), ink(percent))
        } else {
            Cell::new("=", Ink::Quiet)
        }
    });
    let content = plain(&to.content.replace('_', " "));
    let parts = [
        (
            format!("Fuel change from {old} to {new}, percent"),
            changes.collect(),
        ),
        (format!("New values, {content}"), values.collect()),
    ];
    for (head, cells) in parts {
        let grid = Grid {
            rpm: &to.rpm,
            plate_percent: &to.plate_percent,
            cells,
        };
        page += &format!("\n{}\n", options.paint(Ink::Strong, &plain(&head)));
        page += &grid.draw(options);
    }
    page
}

#[cfg(test)]
mod tests {
    use super::{change_percent, render_diff};
    use crate::render::style::RenderOptions;
    use baytrim_api::v1::Revision;

    fn revision(name: &str, values: &[f64]) -> Revision {
        Revision {
            name: format!("jobs/quoll-1/revisions/{name}"),
            content: "percent".to_owned(),
            rpm: vec![2000.0, 4000.0],
            plate_percent: vec![10.0],
            values: values.to_vec(),
            total_percent: values.to_vec(),
            ..Revision::default()
        }
    }

    /// Somebody who looks at what changed would see another change, or one where there is none.
    #[test]
    fn a_diff_says_how_much_fuel_changed_and_where() {
        let (from, to) = (revision("r1", &[10.0, 5.0]), revision("r2", &[-1.0, 5.0]));
        let percents = change_percent(&from, &to);
        // 0.99 / 1.10 is 0.9.
        assert!((percents[0] + 10.0).abs() < 1e-9 && percents[1].abs() < 1e-9);
        let options = RenderOptions {
            width: 80,
            color: false,
        };
        let page = render_diff(&from, &to, &options);
        assert!(page.contains("from r1 to r2"), "{page}");
        assert!(page.contains("1 of 2 nodes changed."), "{page}");
        let row = page.lines().find(|line| line.contains("-10.0"));
        assert!(row.is_some_and(|row| row.ends_with('=')), "{page}");
        let same = render_diff(&to, &to, &options);
        assert!(same.contains("All of the 2 nodes hold the same."), "{same}");
    }
}
