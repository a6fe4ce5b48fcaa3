//! Whether cells can be read.
//!
//! Contrast after WCAG 2.2 (W3C Recommendation, 12 December 2024), success criterion 1.4.3 and the
//! definitions of contrast ratio and relative luminance.

use crate::page::assets::STYLE;

/// Steps of both scales: five less, zero, five more, six amounts.
const STEPS: usize = 17;

/// Returns the relative luminance of a colour of six hexadecimal digits.
fn luminance(colour: &str) -> f64 {
    let channel = |at: usize| {
        let value = u8::from_str_radix(&colour[at..at + 2], 16).expect("hexadecimal");
        let share = f64::from(value) / 255.0;
        if share <= 0.040_45 {
            share / 12.92
        } else {
            ((share + 0.055) / 1.055).powf(2.4)
        }
    };
    0.2126 * channel(0) + 0.7152 * channel(2) + 0.0722 * channel(4)
}

fn contrast(one: &str, other: &str) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// Returns each step's class, ground and text colour, the light scheme's before the dark one's.
fn steps() -> Vec<(&'static str, &'static str, &'static str)> {
    let rules = STYLE.lines().filter_map(|line| {
        let (class, rule) = line
            .trim()
            .strip_prefix('.')?
            .split_once(" { background: #")?;
        let (ground, text) = rule.split_once("; color: #")?;
        (class.len() <= 2).then(|| (class, &ground[..6], &text[..6]))
    });
    rules.collect()
}

/// If this fails, the formula is not that of WCAG: black on white is 21 : 1, and #767676 on white is the
/// darkest grey that common tools round to 4.54.
#[test]
fn the_formula_is_that_of_wcag() {
    assert!((contrast("000000", "ffffff") - 21.0).abs() < 1e-9);
    assert!((contrast("767676", "ffffff") - 4.54).abs() < 0.01);
}

/// If this fails, a number can't be read on its cell, in one scheme or the other.
#[test]
fn every_step_can_be_read() {
    let steps = steps();
    assert_eq!(steps.len(), 2 * STEPS, "{steps:?}");
    for (class, ground, text) in steps {
        let ratio = contrast(ground, text);
        assert!(ratio >= 4.5, ".{class}: #{text} on #{ground} is {ratio:.2}");
    }
}

/// If this fails, more does not look like more: a scale's steps don't go from its middle to its end evenly in light.
#[test]
fn scales_go_one_way() {
    let steps = steps();
    for scheme in steps.chunks(STEPS) {
        let light = |class: &str| {
            let step = scheme
                .iter()
                .find(|step| step.0 == class)
                .expect("every class is there");
            luminance(step.1)
        };
        for letter in ["l", "m", "q"] {
            let first = if letter == "q" { "q0" } else { "z" };
            let mut levels = vec![light(first)];
            levels.extend((1..=5).map(|step| light(&format!("{letter}{step}"))));
            let rises = levels.windows(2).all(|pair| pair[0] < pair[1]);
            let falls = levels.windows(2).all(|pair| pair[0] > pair[1]);
            assert!(rises || falls, "{letter}: {levels:?}");
        }
    }
}
