//! Values and times that cannot be.

use baytrim_intake::IntakeError;
use baytrim_model::channel::{Quantity, RepeatedTime, Unit};

use super::{many, refused, refused_by, rows};
use crate::support::{altered, channel, with_unit};

pub(super) fn unit_cases() -> Vec<(&'static str, IntakeError)> {
    let coolant = |value: &str| {
        format!("offset_s,rpm,plate_percent,lambda,coolant_c\n0,2000,10,0.9,{value}\n")
    };
    vec![
        (
            "a negative engine speed",
            refused(rows("0.0,-133.6,10,0.9\n")),
        ),
        (
            "an open circuit for lambda",
            refused(rows("0.0,2000,10,199.94\n")),
        ),
        (
            "lambda read as AFR",
            refused_by(
                &with_unit(Quantity::Lambda, Unit::Afr),
                rows("0.0,2000,10,0.9\n"),
            ),
        ),
        (
            "an equivalence ratio of zero",
            refused_by(
                &with_unit(Quantity::Lambda, Unit::EquivalenceRatio),
                rows("0.0,2000,10,0\n"),
            ),
        ),
        (
            "rpm read as rev/s",
            refused_by(
                &with_unit(Quantity::EngineSpeed, Unit::RevPerS),
                rows("0.0,2000,10,0.9\n"),
            ),
        ),
        (
            "percent read as a ratio",
            refused_by(
                &with_unit(Quantity::PlateAngle, Unit::Ratio),
                rows("0.0,2000,10,0.9\n"),
            ),
        ),
        (
            "a value that scale and offset put out of range",
            refused_by(
                &altered(|map| {
                    channel(map, Quantity::PlateAngle).scale = 0.5;
                    channel(map, Quantity::PlateAngle).offset = -14.0;
                }),
                rows("0.0,2000,13,0.9\n"),
            ),
        ),
        (
            "raw counts for the plate",
            refused(rows("0.0,2000,812,0.9\n")),
        ),
        (
            "sensor volts beyond the line's ends",
            refused_by(
                &altered(|map| {
                    channel(map, Quantity::PlateAngle).points = Some([[0.5, 0.0], [4.5, 100.0]]);
                }),
                rows("0.0,2000,4.95,0.9\n"),
            ),
        ),
        ("kelvin read as celsius", refused(coolant("358"))),
        (
            "AFR taken for lambda",
            refused(many(|row| format!("0.{row:02},2000,10,1{}.7", 3 + row % 2))),
        ),
        (
            "rev/s taken for rpm",
            refused(many(|row| format!("0.{row:02},{},10,0.9", 30 + row))),
        ),
        (
            "a ratio taken for percent",
            refused(many(|row| format!("0.{row:02},3000,0.{:02},0.9", 4 * row))),
        ),
        (
            "milliseconds taken for seconds",
            refused(many(|row| format!("{},2000,10,0.9", 20 * row))),
        ),
        (
            "seconds taken for milliseconds",
            refused_by(
                &altered(|map| map.time.unit = Unit::Ms),
                many(|row| format!("0.{row:02},2000,10,0.9")),
            ),
        ),
        (
            "days taken for seconds",
            refused(many(|row| format!("0.000{row:02},2000,10,0.9"))),
        ),
    ]
}

pub(super) fn clock_cases() -> Vec<(&'static str, IntakeError)> {
    let spread = altered(|map| map.time.repeated = RepeatedTime::Spread);
    vec![
        (
            "a clock that goes back",
            refused(rows("5.0,2000,10,0.9\n5.1,2000,10,0.9\n4.9,2000,10,0.9\n")),
        ),
        (
            "a time there twice",
            refused(rows("0.0,2000,10,0.9\n0.1,2000,10,0.9\n0.1,2000,10,0.9\n")),
        ),
        (
            "a clock that never moves",
            refused_by(
                &spread,
                rows("7,2000,10,0.9\n7,2000,10,0.9\n7,2000,10,0.9\n"),
            ),
        ),
        (
            "a clock that jumps by a month",
            refused(rows("0.0,2000,10,0.9\n2592000,2000,10,0.9\n")),
        ),
    ]
}
