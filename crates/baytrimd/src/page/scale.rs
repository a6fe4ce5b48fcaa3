//! Stepped colour scales: which step a number is on. The colours are in `assets/page.css`.
//!
//! Steps, not a ramp: a reader can tell eleven cells apart at two metres, and each step's text
//! contrast can be tested. The number stands in the cell as well, so that colour carries nothing alone.

use std::collections::HashMap;
use std::sync::LazyLock;

use maud::{Markup, html};

use super::assets::STYLE;

/// Lower ends of the five steps away from zero, percent. Common practice: lambda within 2 % is near
/// enough for part throttle, 10 % is where most step limits stand.
const CHANGE_STEPS_PERCENT: [f64; 5] = [0.5, 2.0, 4.0, 7.0, 11.0];

/// Lower ends of the five steps of dwell in seconds: a second is one look, half a minute is plenty.
const DWELL_STEPS_S: [f64; 5] = [0.05, 1.0, 3.0, 10.0, 30.0];

/// Upper ends of the steps of a standard error in percent, best first: below a floor of about 1 %
/// the sensor's own error is the larger one; above 3 % nothing is proposed by default.
const SURE_STEPS_PERCENT: [f64; 5] = [0.5, 1.0, 1.5, 2.0, 3.0];

const MORE: [&str; 6] = ["z", "m1", "m2", "m3", "m4", "m5"];
const LESS: [&str; 6] = ["z", "l1", "l2", "l3", "l4", "l5"];
const AMOUNT: [&str; 6] = ["q0", "q1", "q2", "q3", "q4", "q5"];

/// A step's ground and text, red, green, blue each.
type Colours = ([u8; 3], [u8; 3]);

/// The light scheme's colours, as the style sheet has them.
static LIGHT: LazyLock<HashMap<&'static str, Colours>> = LazyLock::new(|| {
    let mut found = HashMap::new();
    for line in STYLE.lines() {
        let Some((class, rule)) = line
            .strip_prefix('.')
            .and_then(|rest| rest.split_once(" { background: #"))
        else {
            continue;
        };
        if let Some((ground, text)) = rule.split_once("; color: #")
            && let (Some(ground), Some(text)) = (colour(ground), colour(text))
        {
            found.entry(class).or_insert((ground, text));
        }
    }
    found
});

fn colour(digits: &str) -> Option<[u8; 3]> {
    let channel = |at: usize| u8::from_str_radix(digits.get(at..at + 2)?, 16).ok();
    Some([channel(0)?, channel(2)?, channel(4)?])
}

/// Returns the colours of a class on paper: those of the light scheme.
pub(crate) fn light(class: &str) -> Option<Colours> {
    LIGHT.get(class).copied()
}

/// Returns the class of a signed fuel change in percent: `l5` to `l1`, `z`, `m1` to `m5`.
pub(crate) fn change(percent: f64) -> &'static str {
    let step = reached(&CHANGE_STEPS_PERCENT, percent.abs());
    if percent < 0.0 {
        LESS[step]
    } else {
        MORE[step]
    }
}

/// Returns the class of a dwell in seconds: `q0` (none) to `q5`.
pub(super) fn dwell(dwell_s: f64) -> &'static str {
    AMOUNT[reached(&DWELL_STEPS_S, dwell_s)]
}

/// Returns the class of a standard error in percent: `q5` (surest) to `q0`.
pub(super) fn sure(standard_error_percent: f64) -> &'static str {
    let beyond = |end: &&f64| standard_error_percent > **end;
    AMOUNT[5 - SURE_STEPS_PERCENT.iter().filter(beyond).count()]
}

fn reached(steps: &[f64; 5], value: f64) -> usize {
    steps.iter().filter(|&&step| value >= step).count()
}

/// Returns the legend of the scale of fuel changes, from less to more.
pub(super) fn change_legend(less: &str, more: &str) -> Markup {
    signed_legend(less, more, "percent of fuel, from")
}

/// Returns the legend of the same scale where it shows differences of lambda, from richer to leaner.
pub(super) fn lambda_legend(less: &str, more: &str) -> Markup {
    signed_legend(less, more, "percent of lambda, from")
}

fn signed_legend(less: &str, more: &str, unit: &str) -> Markup {
    let ends = CHANGE_STEPS_PERCENT;
    html! {
        div.scale {
            span.end { (less) }
            ol {
                @for step in (1..=5).rev() { li class=(LESS[step]) { "\u{2212}" (ends[step - 1]) } }
                li.z { "0" }
                @for step in 1..=5 { li class=(MORE[step]) { "+" (ends[step - 1]) } }
            }
            span.end { (more) " (" (unit) ")" }
        }
    }
}

/// Returns the legend of the scale of dwell.
pub(super) fn dwell_legend() -> Markup {
    html! {
        div.scale {
            span.end { "seconds on the node, from" }
            ol {
                li.q0 { "0" }
                @for step in 1..=5 { li class=(AMOUNT[step]) { (DWELL_STEPS_S[step - 1]) } }
            }
        }
    }
}

/// Returns the legend of the scale of standard errors.
pub(super) fn sure_legend() -> Markup {
    html! {
        div.scale {
            span.end { "sure" }
            ol {
                @for step in 0..5 { li class=(AMOUNT[5 - step]) { "\u{2264} " (SURE_STEPS_PERCENT[step]) } }
                li.q0 { "more" }
            }
            span.end { "unsure (standard error, percent of fuel)" }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{change, dwell, light, sure};

    /// If this fails, a cell's colour says another size or direction than its number.
    #[test]
    fn steps_are_symmetric() {
        assert_eq!((change(0.0), change(-0.4), change(0.49)), ("z", "z", "z"));
        assert_eq!((change(0.5), change(-0.5)), ("m1", "l1"));
        assert_eq!((change(6.9), change(-7.0)), ("m3", "l4"));
        assert_eq!((change(40.0), change(-40.0)), ("m5", "l5"));
    }

    /// If this fails, paper has other colours than the page: these are those of the style sheet.
    #[test]
    fn paper_has_the_light_colours() {
        assert_eq!(light("l5"), Some(([0x02, 0x2a, 0x70], [0xff; 3])));
        assert_eq!(light("m3"), Some(([0xc7, 0x7a, 0x4e], [0; 3])));
        let classes = ["l4", "l3", "l2", "l1", "z", "m1", "m2", "m4", "m5"];
        assert!(classes.iter().all(|class| light(class).is_some()));
        assert_eq!(light("none"), None);
    }

    /// If this fails, more dwell or a smaller error looks like less.
    #[test]
    fn amounts_rise() {
        assert_eq!((dwell(0.0), dwell(0.06), dwell(45.0)), ("q0", "q1", "q5"));
        assert_eq!((sure(0.4), sure(1.2), sure(9.0)), ("q5", "q3", "q0"));
    }
}
