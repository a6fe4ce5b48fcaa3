//! Overrun and secondary air: what the log shows beside what the record says.

use baytrim_api::v1::PullBehaviour;

use super::number::fixed;
use super::style::{Ink, RenderOptions};
use super::text::{hang, plain};

/// Returns how a vehicle behaved in a pull.
pub(super) fn render_behaviour(found: &PullBehaviour, options: &RenderOptions) -> String {
    let speeds = found.overrun_low_rpm.zip(found.overrun_high_rpm);
    let between = speeds.map_or_else(String::new, |(low, high)| {
        format!(" {} to {} rpm", fixed(low, 0), fixed(high, 0))
    });
    let cut = match found.overrun_cut.as_str() {
        "on" if speeds.is_some() => format!("fuel is cut, and comes back below{between}"),
        "on" => "fuel is cut".to_owned(),
        "above_rpm" => format!("fuel is cut only above{between}"),
        "off" => "fuel is not cut".to_owned(),
        "unclear" => "cut and fuel go together with no engine speed".to_owned(),
        _ => "the log does not tell".to_owned(),
    };
    let air = match found.secondary_air.as_str() {
        "active" => "air goes into the exhaust",
        "driven_without_air" => "the valve is driven, and no air comes",
        "not_active" => "no air goes into the exhaust",
        _ => "the log does not tell",
    };
    let recorded = found.recorded.clone().unwrap_or_default();
    let of_cut = match (recorded.overrun_cut.as_str(), recorded.overrun_rpm) {
        ("", _) => "nothing".to_owned(),
        ("above_rpm", Some(rpm)) => format!("cut above {} rpm", fixed(rpm, 0)),
        (word, _) => format!("cut {}", plain(word)),
    };
    let of_air = match recorded.secondary_air.as_str() {
        "" => "nothing".to_owned(),
        word => plain(word),
    };
    let mut page = options.paint(Ink::Strong, "Overrun and secondary air") + "\n";
    for line in [
        format!("overrun: {cut} (the record says {of_cut})"),
        format!("secondary air: {air} (the record says {of_air})"),
    ] {
        page += &hang(&line, options.width, 2, 4);
    }
    page
}
