//! The samples as a drawing: one panel for each thing, over time.

use std::fmt::Write as _;

use crate::sample::Sample;

const WIDTH: f64 = 640.0;
const PANEL: f64 = 90.0;
const LEFT: f64 = 150.0;
const RIGHT: f64 = 20.0;
const GAP: f64 = 14.0;

/// Returns the drawing as SVG.
pub(crate) fn draw(samples: &[Sample]) -> String {
    type Of = fn(&Sample) -> f64;
    let panels: [(&str, &str, Of); 6] = [
        ("memory, MB", "#0072b2", |it| it.memory_kb as f64 / 1000.0),
        ("open files", "#009e73", |it| it.files as f64),
        ("threads", "#d55e00", |it| it.threads as f64),
        ("ledger files", "#cc79a7", |it| it.ledger_files as f64),
        ("request p50, ms", "#56b4e9", |it| it.p50_ms),
        ("request p99, ms", "#e69f00", |it| it.p99_ms),
    ];
    let last_s = samples.last().map_or(1.0, |last| last.at_s);
    let height = panels.len() as f64 * (PANEL + GAP) + 40.0;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" font-family=\"sans-serif\" font-size=\"12\">\n\
         <rect width=\"{WIDTH}\" height=\"{height}\" fill=\"white\"/>\n"
    );
    for (number, (name, colour, of)) in panels.into_iter().enumerate() {
        let top = 10.0 + number as f64 * (PANEL + GAP);
        let most = samples.iter().map(of).fold(0.0, f64::max).max(1e-9) * 1.05;
        let x = |at_s: f64| LEFT + at_s / last_s * (WIDTH - LEFT - RIGHT);
        let y = |value: f64| top + PANEL * (1.0 - value / most);
        let points: Vec<String> = samples
            .iter()
            .map(|sample| format!("{:.1},{:.1}", x(sample.at_s), y(of(sample))))
            .collect();
        let _ = writeln!(
            svg,
            "<path d=\"M{LEFT} {top}V{0:.1}H{1:.1}\" fill=\"none\" stroke=\"#bbb\"/>\
             <text x=\"{2:.1}\" y=\"{3:.1}\" text-anchor=\"end\" fill=\"{colour}\">{name}</text>\
             <text x=\"{2:.1}\" y=\"{4:.1}\" text-anchor=\"end\">{most:.0}</text>\
             <text x=\"{2:.1}\" y=\"{0:.1}\" text-anchor=\"end\">0</text>\
             <polyline points=\"{5}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.5\"/>",
            top + PANEL,
            WIDTH - RIGHT,
            LEFT - 8.0,
            top + PANEL / 2.0 + 4.0,
            top + 10.0,
            points.join(" "),
        );
    }
    let _ = writeln!(
        svg,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{:.0} minutes</text>\n</svg>",
        WIDTH - RIGHT,
        height - 12.0,
        last_s / 60.0
    );
    svg
}
