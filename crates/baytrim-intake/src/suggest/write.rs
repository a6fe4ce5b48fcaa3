//! Writes a proposed channel map as a file.

use std::fmt::Write;

use baytrim_model::channel::{Channel, EvidenceKind, RepeatedTime, TimeChannel};

use super::report::{Missing, SuggestedChannel, SuggestedTime};

/// Returns the file. Writing to a string cannot fail.
pub(super) fn write_toml(
    source_name: &str,
    evidence: EvidenceKind,
    time: Option<&SuggestedTime>,
    channels: &[SuggestedChannel],
    missing: &[Missing],
) -> String {
    let mut text = String::new();
    remark(
        &mut text,
        &format!("Channel map proposed for {source_name}. Check each section before use."),
    );
    for missing in missing {
        let about = missing
            .quantity
            .map_or("time", |quantity| quantity.as_str());
        remark(
            &mut text,
            &format!("Missing, {about}: {}", missing.sentence),
        );
    }
    let kind = match evidence {
        EvidenceKind::Lambda => "lambda",
        EvidenceKind::Trims => "trims",
        EvidenceKind::LambdaAndTrims => "lambda_and_trims",
    };
    let _ = writeln!(text, "evidence = \"{kind}\"");
    if let Some(time) = time {
        text.push('\n');
        remark(
            &mut text,
            &format!("{:.0} % sure: {}", 100.0 * time.confidence, time.reason),
        );
        time_section(&mut text, &time.time);
    }
    for suggested in channels {
        text.push('\n');
        let percent = 100.0 * suggested.confidence;
        remark(
            &mut text,
            &format!("{percent:.0} % sure: {}", suggested.reason),
        );
        if let Some(doubt) = &suggested.doubt {
            remark(&mut text, &format!("To be settled: {doubt}"));
        }
        if !suggested.rivals.is_empty() {
            remark(
                &mut text,
                &format!("Might also be: {}", suggested.rivals.join(", ")),
            );
        }
        let _ = writeln!(text, "[channels.{}]", suggested.quantity);
        channel_section(&mut text, &suggested.channel);
    }
    text
}

/// Writes one line of remarks, whatever letters the log's names hold.
fn remark(text: &mut String, line: &str) {
    let line: String = line
        .chars()
        .map(|letter| if letter.is_control() { ' ' } else { letter })
        .collect();
    let _ = writeln!(text, "# {line}");
}

fn quoted(value: &str) -> String {
    toml::Value::String(value.to_owned()).to_string()
}

fn number(value: f64) -> String {
    toml::Value::Float(value).to_string()
}

fn time_section(text: &mut String, time: &TimeChannel) {
    let _ = writeln!(text, "[time]");
    if let Some(column) = &time.column {
        let _ = writeln!(
            text,
            "column = {}\nunit = \"{}\"",
            quoted(column),
            time.unit
        );
    }
    if let Some(rate_hz) = time.rate_hz {
        let _ = writeln!(text, "rate_hz = {}", number(rate_hz));
    }
    if time.repeated == RepeatedTime::Spread {
        let _ = writeln!(text, "repeated = \"spread\"");
    }
}

#[expect(clippy::float_cmp, reason = "the defaults are exact")]
fn channel_section(text: &mut String, channel: &Channel) {
    let _ = writeln!(
        text,
        "column = {}\nunit = \"{}\"",
        quoted(&channel.column),
        channel.unit
    );
    if channel.scale != 1.0 {
        let _ = writeln!(text, "scale = {}", number(channel.scale));
    }
    if channel.offset != 0.0 {
        let _ = writeln!(text, "offset = {}", number(channel.offset));
    }
    if let Some([[raw_a, value_a], [raw_b, value_b]]) = channel.points {
        let [raw_a, value_a, raw_b, value_b] = [raw_a, value_a, raw_b, value_b].map(number);
        let _ = writeln!(
            text,
            "points = [[{raw_a}, {value_a}], [{raw_b}, {value_b}]]"
        );
    }
    if !channel.no_reading.is_empty() {
        let values: Vec<String> = channel.no_reading.iter().copied().map(number).collect();
        let _ = writeln!(text, "no_reading = [{}]", values.join(", "));
    }
    if !channel.no_reading_text.is_empty() {
        let texts: Vec<String> = channel
            .no_reading_text
            .iter()
            .map(|text| quoted(text))
            .collect();
        let _ = writeln!(text, "no_reading_text = [{}]", texts.join(", "));
    }
    if channel.optional {
        let _ = writeln!(text, "optional = true");
    }
}
