//! A node's lambda on a ruler: now, predicted with its interval, target and wall.

use baytrim_model::proposal::NodeChange;
use maud::{Markup, html};

const WIDTH: f64 = 340.0;
const EDGE: f64 = 14.0;

/// Returns the drawing; its numbers stand beside it as text, too.
pub(crate) fn ruler(node: &NodeChange, wall_lambda: f64) -> Markup {
    let [low, high] = node.predicted_lambda_interval;
    let shown = [
        node.lambda_before,
        node.target_lambda,
        node.predicted_lambda,
        low,
        high,
        wall_lambda,
    ];
    let least = shown.iter().copied().fold(f64::INFINITY, f64::min);
    let most = shown.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let span = (most - least).max(0.02);
    let x = |lambda: f64| {
        format!(
            "{:.1}",
            EDGE + (lambda - least) / span * (WIDTH - 2.0 * EDGE)
        )
    };
    let wall_width = format!(
        "{:.1}",
        WIDTH - (EDGE + (wall_lambda - least) / span * (WIDTH - 2.0 * EDGE))
    );
    let words = format!(
        "Lambda now {:.3}, after the change {:.3}, between {low:.3} and {high:.3}; target {:.3}, leanest permitted {wall_lambda:.3}",
        node.lambda_before, node.predicted_lambda, node.target_lambda
    );
    html! {
        svg.ruler viewBox="0 0 340 92" role="img" aria-label=(words) {
            rect.wall x=(x(wall_lambda)) y="4" width=(wall_width) height="52" {}
            line.wall x1=(x(wall_lambda)) x2=(x(wall_lambda)) y1="4" y2="62" {}
            line.target x1=(x(node.target_lambda)) x2=(x(node.target_lambda)) y1="4" y2="62" {}
            line.from x1=(x(node.lambda_before)) x2=(x(node.predicted_lambda)) y1="18" y2="42" {}
            circle.now cx=(x(node.lambda_before)) cy="18" r="6" {}
            line.interval x1=(x(low)) x2=(x(high)) y1="42" y2="42" {}
            circle.after cx=(x(node.predicted_lambda)) cy="42" r="6" {}
            (label(node.target_lambda, &x(node.target_lambda), 74, "target", least, span))
            (label(wall_lambda, &x(wall_lambda), 89, "leanest", least, span))
        }
        p.key aria-hidden="true" { "\u{25cb} now   \u{25cf} after, with its 95 % interval; leaner to the right" }
    }
}

fn label(lambda: f64, x: &str, y: u8, words: &str, least: f64, span: f64) -> Markup {
    let anchor = match (lambda - least) / span {
        share if share < 0.2 => "start",
        share if share > 0.8 => "end",
        _ => "middle",
    };
    html! { text x=(x) y=(y) text-anchor=(anchor) { (words) " " (format!("{lambda:.3}")) } }
}
