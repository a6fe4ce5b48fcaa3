//! A bay as a page: its channel map, how it reads against others, the delays that pulls told.

use baytrim_api::v1::{Bay, BayComparison, LearntDelay};

use super::columns::{Edge, columns};
use super::number::{fixed, signed};
use super::style::{Ink, RenderOptions};
use super::text::{minute, plain, wrap};
use crate::name::{number, short};

/// A difference of so many standard errors is told as one.
const TOLD_FROM: f64 = 2.0;

/// Returns what the ledger knows of a bay.
pub fn render_bay(bay: &Bay, options: &RenderOptions) -> String {
    let name = short(&bay.name);
    let mut page = options.paint(Ink::Strong, &format!("Bay {name}")) + "\n";
    page += &match bay.channel_map.as_str() {
        "" => "Channel map: none of its own\n".to_owned(),
        map => format!("Channel map: {} in force\n", number(map)),
    };
    page += &wrap(&in_free_air(bay), options.width, 0);
    page += &wrap(&against_others(bay), options.width, 0);
    for due in &bay.sensor_due {
        let line = format!("Due: {}", plain(due));
        page += &options.paint(Ink::Alert, &wrap(&line, options.width, 2));
    }
    if !bay.comparisons.is_empty() {
        let row = |told: &BayComparison| {
            let (leaner, error) = (told.leaner_percent, told.standard_error_percent);
            [
                short(&told.job),
                format!("{} ± {} %", signed(leaner, 1), fixed(error, 1)),
            ]
        };
        let rows: Vec<_> = bay.comparisons.iter().map(row).collect();
        let heads = [("job", Edge::Left), ("leaner by", Edge::Right)];
        page += &("\n".to_owned() + &columns(heads, &rows, options));
    }
    page.push('\n');
    if bay.delays.is_empty() {
        return page
            + "No pull in it has told its delay yet.\nNext\n  baytrim plan JOB   (says where to step the fuel)\n";
    }
    let row = |told: &LearntDelay| {
        [
            short(&told.job),
            format!(
                "{} ± {}",
                fixed(told.cycles, 2),
                fixed(told.cycles_error, 2)
            ),
            format!(
                "{} ± {}",
                fixed(told.gas_volume_l, 2),
                fixed(told.gas_volume_error_l, 2)
            ),
            format!("{} ± {}", fixed(told.lag_s, 3), fixed(told.lag_error_s, 3)),
        ]
    };
    let rows: Vec<_> = bay.delays.iter().map(row).collect();
    let heads = [
        ("delay told in", Edge::Left),
        ("cycles", Edge::Right),
        ("gas (l)", Edge::Right),
        ("lag (s)", Edge::Right),
    ];
    page + &columns(heads, &rows, options)
}

fn in_free_air(bay: &Bay) -> String {
    let Some(last) = bay.sensor_checks.last() else {
        return "Free air: its lambda sensor was never read in it".to_owned();
    };
    let notes = match last.notes.as_str() {
        "" => String::new(),
        notes => format!(": {}", plain(notes)),
    };
    format!(
        "Free air: its lambda sensor showed {} % oxygen on {}, {}{notes}",
        fixed(last.oxygen_percent, 1),
        minute(last.create_time.map(|time| time.to_string())),
        plain(&last.creator)
    )
}

fn against_others(bay: &Bay) -> String {
    let Some(leaner) = bay.leaner_percent else {
        return "Against other bays: no job has pulls from it and from another bay at the same places".to_owned();
    };
    let error = bay.leaner_error_percent;
    let word = if leaner > 0.0 { "leaner" } else { "richer" };
    let size = format!("{} ± {} % {word}", fixed(leaner.abs(), 1), fixed(error, 1));
    if leaner.abs() >= TOLD_FROM * error {
        format!("Against other bays: it reads {size} at the same places. Compare the sensors.")
    } else {
        format!("Against other bays: it reads as they do ({size})")
    }
}
