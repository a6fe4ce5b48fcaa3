//! The figures as a drawing: milliseconds and megabytes against the number of jobs, both axes by powers of ten.

use std::fmt::Write as _;

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 360.0;
const LEFT: f64 = 60.0;
const RIGHT: f64 = 170.0;
const TOP: f64 = 20.0;
const BOTTOM: f64 = 40.0;

/// One line of the drawing.
pub(crate) struct Series {
    pub(crate) name: &'static str,
    pub(crate) colour: &'static str,
    /// Jobs, value.
    pub(crate) points: Vec<(f64, f64)>,
}

/// Returns the drawing as SVG.
pub(crate) fn draw(series: &[Series]) -> String {
    let all = || series.iter().flat_map(|series| series.points.iter());
    let jobs = range(all().map(|point| point.0));
    let values = range(all().map(|point| point.1));
    let x =
        |jobs_: f64| LEFT + (jobs_.log10() - jobs.0) / (jobs.1 - jobs.0) * (WIDTH - LEFT - RIGHT);
    let y = |value: f64| {
        HEIGHT
            - BOTTOM
            - (value.log10() - values.0) / (values.1 - values.0) * (HEIGHT - TOP - BOTTOM)
    };
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" font-family=\"sans-serif\" font-size=\"12\">\n\
         <rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"white\"/>\n"
    );
    for power in values.0 as i32..=values.1 as i32 {
        let (at, value) = (y(10f64.powi(power)), 10f64.powi(power));
        let _ = writeln!(
            svg,
            "<path d=\"M{LEFT} {at:.1}H{:.1}\" stroke=\"#ddd\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{value}</text>",
            WIDTH - RIGHT,
            LEFT - 6.0,
            at + 4.0
        );
    }
    for power in jobs.0 as i32..=jobs.1 as i32 {
        let (at, value) = (x(10f64.powi(power)), 10f64.powi(power));
        let _ = writeln!(
            svg,
            "<path d=\"M{at:.1} {TOP}V{:.1}\" stroke=\"#ddd\"/><text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{value} jobs</text>",
            HEIGHT - BOTTOM,
            HEIGHT - BOTTOM + 18.0
        );
    }
    for Series {
        name,
        colour,
        points,
    } in series
    {
        let place = |&(jobs, value): &(f64, f64)| format!("{:.1},{:.1}", x(jobs), y(value));
        let line: Vec<String> = points.iter().map(place).collect();
        let (last_x, last_y) = points
            .last()
            .map_or((0.0, 0.0), |last| (x(last.0), y(last.1)));
        let _ = writeln!(
            svg,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\"/><text x=\"{:.1}\" y=\"{:.1}\" fill=\"{colour}\">{name}</text>",
            line.join(" "),
            last_x + 6.0,
            last_y + 4.0
        );
    }
    svg.push_str("</svg>\n");
    svg
}

/// Returns the powers of ten that hold all values between them.
fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for value in values {
        low = low.min(value.log10().floor());
        high = high.max(value.log10().ceil());
    }
    (low, high.max(low + 1.0))
}
