//! A pull over time: accepted and refused, with the gates in words.

use baytrim_model::gate::GateName;
use baytrim_model::pull::PullSummary;
use maud::{Markup, html};

/// A stretch of a pull in one state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stretch {
    /// Its first span.
    pub(super) from: usize,
    /// One past its last span.
    pub(super) to: usize,
    /// The gate that refused most of it; none where most was accepted.
    pub(super) gate: Option<GateName>,
}

/// Returns the stretches of a strip: equal neighbours are one.
pub(super) fn stretches(strip: &[Option<GateName>]) -> Vec<Stretch> {
    let mut found: Vec<Stretch> = Vec::new();
    for (index, &gate) in strip.iter().enumerate() {
        match found.last_mut() {
            Some(last) if last.gate == gate => last.to = index + 1,
            _ => found.push(Stretch {
                from: index,
                to: index + 1,
                gate,
            }),
        }
    }
    found
}

/// Returns the picture: what was accepted stands tall, what was refused lies low.
pub(super) fn picture(summary: &PullSummary) -> Markup {
    let count = summary.strip.len().max(1);
    let parts = stretches(&summary.strip);
    html! {
        svg.strip viewBox={ "0 0 " (count * 10) " 40" } preserveAspectRatio="none" role="img" aria-label=(words(summary)) {
            @for part in parts {
                @let (x, width) = (part.from * 10, (part.to - part.from) * 10);
                @match part.gate {
                    None => rect.ok x=(x) y="2" width=(width) height="36" {},
                    Some(_) => rect.no x=(x) y="28" width=(width) height="10" {},
                }
            }
        }
    }
}

/// Returns the stretches that were refused, as a list with their times.
pub(super) fn list(summary: &PullSummary) -> Markup {
    let span_s = span_s(summary);
    let refused = stretches(&summary.strip)
        .into_iter()
        .filter_map(|part| Some((part, part.gate?)));
    html! {
        ol.stretches {
            @for (part, gate) in refused {
                li {
                    span.n { (format!("{:.0}\u{2013}{:.0} s", part.from as f64 * span_s, part.to as f64 * span_s)) }
                    " " (gate.sentence())
                }
            }
        }
    }
}

fn words(summary: &PullSummary) -> String {
    let accepted = summary.strip.iter().filter(|gate| gate.is_none()).count();
    format!(
        "{accepted} of {} equal spans of the pull were mostly accepted; the list below says what was refused",
        summary.strip.len()
    )
}

fn span_s(summary: &PullSummary) -> f64 {
    summary.duration_s / summary.strip.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::{Stretch, stretches};
    use baytrim_model::gate::GateName;

    /// If this fails, the strip shows a refusal at another time than it was.
    #[test]
    fn equal_neighbours_are_one_stretch() {
        let cut = Some(GateName::OverrunCut);
        let found = stretches(&[None, None, cut, cut, cut, None]);
        let stretch = |from, to, gate| Stretch { from, to, gate };
        assert_eq!(
            found,
            [stretch(0, 2, None), stretch(2, 5, cut), stretch(5, 6, None)]
        );
        assert!(stretches(&[]).is_empty());
    }
}
