//! What a stage says of the overrun and of secondary air, in the form that begins it and in the list.

use baytrim_api::v1;
use baytrim_jobs::behaviour::recorded;
use baytrim_jobs::{JobState, Refusal};
use baytrim_model::vehicle::{
    OverrunCut, RecordedAir, RecordedOverrun, SecondaryAir, VehicleRecord,
};
use maud::{Markup, html};

use crate::convert::vehicle;
use crate::page::decide::field;

/// Returns what a form says of the vehicle; an engine speed that nothing asks for is left out.
///
/// # Errors
/// When the engine speed is no number.
pub(super) fn asked(fields: &[(String, String)]) -> Result<VehicleRecord, Refusal> {
    let text = |name: &str| field(fields, name).unwrap_or_default().trim().to_owned();
    let (overrun_cut, typed) = (text("overrun"), text("overrun_rpm"));
    let overrun_rpm = match (overrun_cut == OverrunCut::AboveRpm.as_str(), typed.as_str()) {
        (false, _) | (true, "") => None,
        (true, typed) => Some(typed.parse::<f64>().map_err(|_| {
            let problem = format!("{typed} is no engine speed");
            Refusal::field("overrun.rpm", problem, "write a number, such as 4500")
        })?),
    };
    vehicle::asked(Some(&v1::VehicleRecord {
        overrun_cut,
        overrun_rpm,
        secondary_air: text("secondary_air"),
    }))
}

/// Returns the inputs; `typed` is what a form that was refused held.
pub(super) fn inputs(state: &JobState, typed: &[(String, String)]) -> Markup {
    let now = recorded(state, Some(state.stage().id));
    let value = |name: &str| field(typed, name).unwrap_or_default();
    let choice = |chosen: &str, name: &str, words: &str| {
        html! {
            option value=(name) selected[chosen == name] { (words) }
        }
    };
    let (cut, air) = (value("overrun"), value("secondary_air"));
    html! {
        details.field.vehicle open[!cut.is_empty() || !air.is_empty()] {
            summary { "Overrun and secondary air, where they change" }
            p.quiet { (sentence(&now)) " Logs are held against it." }
            label.field {
                span { "Fuel on the overrun" }
                select name="overrun" {
                    (choice(cut, "", "as before"))
                    @for known in [OverrunCut::On, OverrunCut::Off, OverrunCut::AboveRpm] {
                        (choice(cut, known.as_str(), cut_words(known)))
                    }
                }
            }
            label.field {
                span { "Above which engine speed, rpm (only for the last choice)" }
                input type="number" name="overrun_rpm" min="1000" max="25000" step="50" inputmode="numeric" value=(value("overrun_rpm"));
            }
            label.field {
                span { "Secondary air" }
                select name="secondary_air" {
                    (choice(air, "", "as before"))
                    @for known in [SecondaryAir::None, SecondaryAir::Active, SecondaryAir::Blocked] {
                        (choice(air, known.as_str(), air_words(known)))
                    }
                }
            }
            p.quiet { "Taking out the cut or blanking off the air may be unlawful on the road: the law of the place decides." }
        }
    }
}

fn cut_words(cut: OverrunCut) -> &'static str {
    match cut {
        OverrunCut::On => "cut",
        OverrunCut::Off => "not cut: the cut was taken out",
        OverrunCut::AboveRpm => "cut above an engine speed only",
    }
}

fn air_words(air: SecondaryAir) -> &'static str {
    match air {
        SecondaryAir::None => "none is fitted",
        SecondaryAir::Active => "active",
        SecondaryAir::Blocked => "blanked off",
    }
}

fn of_cut(overrun: RecordedOverrun) -> String {
    match (overrun.cut, overrun.rpm) {
        (OverrunCut::AboveRpm, Some(rpm)) => {
            format!("fuel cut on the overrun above {rpm:.0} rpm only")
        }
        (OverrunCut::Off, _) => "fuel not cut on the overrun".to_owned(),
        _ => "fuel cut on the overrun".to_owned(),
    }
}

fn of_air(air: RecordedAir) -> String {
    match air.state {
        SecondaryAir::None => "no secondary air".to_owned(),
        SecondaryAir::Active => "secondary air active".to_owned(),
        SecondaryAir::Blocked => "secondary air blanked off".to_owned(),
    }
}

/// Returns what a record says, in some words; empty where it says nothing.
pub(super) fn words(record: &VehicleRecord) -> String {
    let said = [record.overrun.map(of_cut), record.secondary_air.map(of_air)];
    said.into_iter().flatten().collect::<Vec<_>>().join("; ")
}

fn sentence(record: &VehicleRecord) -> String {
    match words(record) {
        said if said.is_empty() => "The record says nothing of it by now.".to_owned(),
        said => format!("By now the record says: {said}."),
    }
}
