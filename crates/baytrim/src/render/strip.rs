//! Accepted and refused over the time of a pull, in a strip of one letter a span.

use super::marks::gate;
use super::number::fixed;
use super::style::{Ink, RenderOptions};

/// What an accepted span shows.
const ACCEPTED: char = '█';

/// Returns the strip: a block where most was accepted, else the letter of the gate that refused
/// most, with seconds beneath it.
pub fn render_strip(strip: &[String], duration_s: f64, options: &RenderOptions) -> String {
    if strip.is_empty() {
        return String::new();
    }
    let per_line = options.width.saturating_sub(4).max(10);
    let mut page = String::new();
    for spans in strip.chunks(per_line) {
        page += "  ";
        for run in spans.chunk_by(|a, b| a == b) {
            let text: String = run.iter().map(|name| letter(name)).collect();
            let ink = if run[0].is_empty() {
                Ink::More
            } else {
                Ink::Less
            };
            page += &options.paint(ink, &text);
        }
        page.push('\n');
    }
    if strip.len() <= per_line {
        page += &axis(strip.len(), duration_s, options);
    }
    page
}

fn letter(name: &str) -> char {
    if name.is_empty() {
        ACCEPTED
    } else {
        gate(name)
    }
}

/// Returns seconds at the start, the middle and the end of the strip.
fn axis(span_count: usize, duration_s: f64, options: &RenderOptions) -> String {
    let decimals = usize::from(duration_s < 10.0);
    let middle = fixed(duration_s / 2.0, decimals);
    let end = format!("{} s", fixed(duration_s, decimals));
    let before_middle = (span_count / 2).saturating_sub(1);
    let before_end = span_count.saturating_sub(before_middle + middle.len() + 1);
    let line = format!("0{}{middle}{end:>before_end$}", " ".repeat(before_middle));
    format!("  {}\n", options.paint(Ink::Quiet, &line))
}
