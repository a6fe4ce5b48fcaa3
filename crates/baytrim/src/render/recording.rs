//! How a log was recorded: its clock, and the grain of its channels.

use baytrim_api::v1::{ChannelRecording, Recording};

use super::columns::{Edge, columns};
use super::number::fixed;
use super::style::{Ink, RenderOptions};
use super::text::{plain, wrap};

/// Returns how a log was recorded, its channels one a line.
pub(crate) fn render_recording(recording: &Recording, options: &RenderOptions) -> String {
    let mut clock = format!(
        "{} rows a second, even to {} s, longest pause {} s",
        brief(recording.rows_per_s),
        brief(recording.jitter_s),
        brief(recording.longest_gap_s),
    );
    if recording.repeated_count > 0 {
        clock += &format!(", {} rows spread", recording.repeated_count);
    }
    let mut page = options.paint(Ink::Strong, "Recording") + "\n";
    page += &wrap(&(clock + "."), options.width, 2);
    let rows: Vec<_> = recording.channels.iter().map(row).collect();
    let heads = [
        ("quantity", Edge::Left),
        ("lowest", Edge::Right),
        ("highest", Edge::Right),
        ("step", Edge::Right),
        ("lasts rows", Edge::Right),
        ("missing", Edge::Right),
        ("column", Edge::Left),
    ];
    page + &columns(heads, &rows, options)
}

fn row(channel: &ChannelRecording) -> [String; 7] {
    let number = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), brief);
    [
        plain(&channel.quantity),
        number(channel.reading_low),
        number(channel.reading_high),
        number(channel.resolution),
        number(channel.hold_row_factor),
        channel.missing_count.to_string(),
        plain(&channel.column),
    ]
}

/// Returns a number in about three digits, without zeros at its end.
fn brief(value: f64) -> String {
    let decimals = match value.abs() {
        size if !(1e-9..100.0).contains(&size) => 0,
        size if size >= 10.0 => 1,
        size if size >= 1.0 => 2,
        size if size >= 0.01 => 4,
        _ => 6,
    };
    let text = fixed(value, decimals);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::brief;

    /// Steps of a thousandth would read as none, or thousands of rpm with six decimals.
    #[test]
    fn numbers_keep_three_digits() {
        let shown = [0.0, 0.000_25, 0.0125, 1.5, 20.0, 8123.4].map(brief);
        assert_eq!(shown, ["0", "0.00025", "0.0125", "1.5", "20", "8123"]);
    }
}
