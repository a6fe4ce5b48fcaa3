//! The numbers of power as tables, for those who can't see the chart and for paper.

use baytrim_jobs::JobState;
use baytrim_jobs::power_comparison::{ComparedPull, PowerComparison, air, at};
use baytrim_model::power::{AirReading, AirSource, PowerSource};
use maud::{Markup, html};

use super::data::speeds;
use crate::page::address;
use crate::page::moment::moment;
use crate::page::number::breakpoint;

/// Returns peaks, factor and air of each pull.
pub(super) fn pulls(state: &JobState, found: &PowerComparison<'_>) -> Markup {
    let first = found.pulls.iter().find_map(|pull| pull.mean_log_power);
    html! {
        section aria-labelledby="peaks" {
            h2 #peaks { "Peaks and air" }
            div.scroll.wide role="region" tabindex="0" aria-label="Table of pulls" {
                table.list.compact {
                    thead { tr {
                        th scope="col" { "pull" } th scope="col" { "finished" } th scope="col" { "most power" } th scope="col" { "most torque" }
                        th.n scope="col" { "factor" } th.n scope="col" { "against the first" }
                        th.n scope="col" { "kPa" } th.n scope="col" { "\u{b0}C" } th.n scope="col" { "% humidity" }
                        th.n scope="col" { "kg/m\u{b3}" } th scope="col" { "from" }
                    } }
                    tbody {
                        @for pull in &found.pulls {
                            @let id = pull.entry.record.id;
                            tr {
                                th.keep scope="row" {
                                    a href=(address::pull(state.id(), id)) { (id) } ", " (pull.entry.stage) ", " (pull.entry.record.revision)
                                }
                                td.keep { (moment(pull.entry.at)) }
                                (peaks(pull))
                                td.n { @match &pull.power.correction { Some(by) => (format!("{:.4}", by.factor)), None => "\u{b7}" } }
                                td.n { @match pull.mean_log_power.zip(first) {
                                    Some((own, first)) if (own - first).abs() > 0.0 => (format!("{:+.1} %", 100.0 * (own - first).exp_m1())),
                                    _ => "\u{b7}",
                                } }
                                (airs(pull))
                                td.keep { (source(pull)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn peaks(pull: &ComparedPull<'_>) -> Markup {
    let Some((power, torque)) = pull.power.peaks() else {
        return html! { td { "\u{b7}" } td { "\u{b7}" } };
    };
    let told = |value: f64, corrected: Option<f64>, unit: &str, rpm: f64| {
        html! {
            td.keep {
                strong { (format!("{:.1} {unit}", corrected.unwrap_or(value))) } " at " (breakpoint(rpm))
                br;
                small { @if corrected.is_some() { "measured " (format!("{value:.1}")) } @else { "not corrected" } }
            }
        }
    };
    let of_power = pull.power.corrected(&power).map(|(kw, _)| kw);
    let of_torque = pull.power.corrected(&torque).map(|(_, nm)| nm);
    html! {
        (told(power.power_kw, of_power, "kW", power.engine_speed_rpm))
        (told(torque.torque_nm, of_torque, "Nm", torque.engine_speed_rpm))
    }
}

fn airs(pull: &ComparedPull<'_>) -> Markup {
    let air = air(pull);
    let cell = |reading: Option<AirReading>, decimals: usize| {
        html! {
            td.n {
                @match reading {
                    None => "\u{b7}",
                    Some(found) => {
                        (format!("{:.decimals$}", found.mean))
                        @match found.source {
                            AirSource::Logged => {},
                            AirSource::Given => small { " given" },
                            AirSource::Intake => small { " intake" },
                        }
                    }
                }
            }
        }
    };
    html! {
        (cell(air.and_then(|air| air.pressure_kpa), 1))
        (cell(air.and_then(|air| air.temperature_c), 1))
        (cell(air.and_then(|air| air.humidity_percent), 0))
        td.n { @match air.and_then(|air| air.density_kg_m3) { Some(density) => (format!("{density:.3}")), None => "\u{b7}" } }
    }
}

fn source(pull: &ComparedPull<'_>) -> String {
    let from = match pull.power.source {
        None => return "\u{b7}".to_owned(),
        Some(PowerSource::Torque) => "torque",
        Some(PowerSource::Inertia) => "inertia",
    };
    format!(
        "{from}; {} s, up to {:.1} Hz",
        pull.power.window_s, pull.power.bandwidth_hz
    )
}

/// Returns what makes pulls hard to compare.
pub(super) fn doubts(found: &PowerComparison<'_>) -> Markup {
    let said: Vec<(String, &String)> = found
        .pulls
        .iter()
        .flat_map(|pull| {
            let said = pull.doubts.iter().chain(&pull.power.remarks);
            said.map(|doubt| (pull.entry.record.id.to_string(), doubt))
        })
        .collect();
    html! {
        @if !said.is_empty() {
            div.cautions role="note" aria-label="Compare with care" {
                strong { "Compare with care" }
                ul { @for (pull, doubt) in &said { li { (pull) ": " (doubt) } } }
            }
        }
    }
}

/// Returns the points of all curves, uncorrected beside corrected.
pub(super) fn points(found: &PowerComparison<'_>) -> Markup {
    let rpm = speeds(found);
    if rpm.is_empty() {
        return html! {};
    }
    let some = |value: Option<f64>| {
        value.map_or_else(|| "\u{b7}".to_owned(), |value| format!("{value:.1}"))
    };
    html! {
        details {
            summary { "The same as a table" }
            div.scroll.wide role="region" tabindex="0" aria-label="Power and torque at each speed" {
                table.list.compact {
                    thead { tr {
                        th.n scope="col" { "rpm" }
                        @for pull in &found.pulls {
                            @let id = pull.entry.record.id;
                            th.n scope="col" { (id) " kW" } th.n scope="col" { "\u{b1}" } th.n scope="col" { (id) " kW corrected" }
                            th.n scope="col" { (id) " Nm" } th.n scope="col" { (id) " Nm corrected" }
                        }
                    } }
                    tbody {
                        @for &rpm in &rpm {
                            tr {
                                th.n scope="row" { (breakpoint(rpm)) }
                                @for pull in &found.pulls {
                                    @let point = at(&pull.power.points, rpm);
                                    @let corrected = point.and_then(|point| pull.power.corrected(point));
                                    td.n { (some(point.map(|point| point.power_kw))) }
                                    td.n { (point.map_or_else(String::new, |point| format!("{:.2}", point.power_error_kw))) }
                                    td.n { (some(corrected.map(|(kw, _)| kw))) }
                                    td.n { (some(point.map(|point| point.torque_nm))) }
                                    td.n { (some(corrected.map(|(_, nm)| nm))) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
