//! Names in several languages, units in names, in rows and in the numbers alone.

use baytrim_model::channel::{EvidenceKind, Quantity, Unit};

use super::{Row, channel, log, proposed};
use crate::support::read_with;

/// A tuner whose logger speaks another language would have to write the map by hand.
#[test]
fn a_german_header_is_understood() {
    let german = log(
        "Prüfstand 2;;;;;;\nZeit [s];Motordrehzahl [U/min];Drosselklappe [%];Lambda Soll;Lambda;Kühlmitteltemp. [°C];Saugrohrdruck [mbar]",
        |row| {
            let Row {
                time_s,
                rpm,
                plate,
                lambda,
                coolant,
                manifold_kpa,
            } = row;
            format!(
                "{time_s:.2};{rpm:.0};{plate:.1};0.9;{lambda:.3};{coolant:.1};{:.0}",
                manifold_kpa * 10.0
            )
            .replace('.', ",")
        },
    );
    let found = proposed(&german);
    assert_eq!(
        channel(&found, Quantity::EngineSpeed),
        ("Motordrehzahl [U/min]", Unit::Rpm)
    );
    assert_eq!(
        channel(&found, Quantity::PlateAngle),
        ("Drosselklappe [%]", Unit::Percent)
    );
    assert_eq!(channel(&found, Quantity::Lambda), ("Lambda", Unit::Lambda));
    assert_eq!(
        channel(&found, Quantity::CoolantTemperature),
        ("Kühlmitteltemp. [°C]", Unit::Celsius)
    );
    assert_eq!(
        channel(&found, Quantity::ManifoldPressure),
        ("Saugrohrdruck [mbar]", Unit::Mbar)
    );
    assert_eq!(found.unused_columns, ["Lambda Soll"]);
    assert_eq!(
        (found.refusal.as_deref(), found.evidence),
        (None, EvidenceKind::Lambda)
    );
    let map = found.map.unwrap();
    assert_eq!(
        read_with(german.as_bytes(), &map).unwrap().samples.len(),
        400
    );
}

/// As above, where the meter writes the inverse of lambda.
#[test]
fn a_french_header_is_understood() {
    let french = log(
        "Temps (ms)\tRégime moteur (tr/min)\tOuverture papillon (%)\tRichesse\tTemp. eau (°C)",
        |row| {
            let Row {
                time_s,
                rpm,
                plate,
                lambda,
                coolant,
                ..
            } = row;
            format!(
                "{:.0}\t{rpm:.0}\t{plate:.1}\t{:.3}\t{coolant:.1}",
                time_s * 1000.0,
                1.0 / lambda
            )
        },
    );
    let found = proposed(&french);
    assert_eq!(found.time.as_ref().unwrap().time.unit, Unit::Ms);
    assert_eq!(
        channel(&found, Quantity::Lambda),
        ("Richesse", Unit::EquivalenceRatio)
    );
    assert_eq!(
        channel(&found, Quantity::PlateAngle).0,
        "Ouverture papillon (%)"
    );
}

/// As above, in letters without spaces between words.
#[test]
fn a_japanese_header_is_understood() {
    let japanese = log(
        "時間(秒),エンジン回転数,スロットル開度,空燃比,水温",
        |row| {
            let Row {
                time_s,
                rpm,
                plate,
                lambda,
                coolant,
                ..
            } = row;
            format!(
                "{time_s:.2},{rpm:.0},{plate:.1},{:.2},{coolant:.1}",
                lambda * 14.7
            )
        },
    );
    let found = proposed(&japanese);
    assert_eq!(channel(&found, Quantity::EngineSpeed).0, "エンジン回転数");
    assert_eq!(channel(&found, Quantity::Lambda), ("空燃比", Unit::Afr));
    assert_eq!(found.refusal, None);
}

/// As above, with the units in a row of their own.
#[test]
fn an_italian_header_is_understood() {
    let italian = log(
        "Tempo;Giri motore;Farfalla;Lambda;Acqua;Pressione collettore\ns;giri/min;%;-;°C;bar",
        |row| {
            let Row {
                time_s,
                rpm,
                plate,
                lambda,
                coolant,
                manifold_kpa,
            } = row;
            format!(
                "{time_s:.2};{rpm:.0};{plate:.1};{lambda:.3};{coolant:.1};{:.3}",
                manifold_kpa / 100.0
            )
        },
    );
    let found = proposed(&italian);
    assert_eq!(
        channel(&found, Quantity::ManifoldPressure),
        ("Pressione collettore", Unit::Bar)
    );
    assert_eq!(
        channel(&found, Quantity::EngineSpeed),
        ("Giri motore", Unit::Rpm)
    );
}

/// Units that no name tells would be asked for, or be got wrong.
#[test]
fn units_are_seen_in_the_numbers() {
    let text = log("clock,engine rpm,throttle,AFR,ect,MAP,baro", |row| {
        let Row {
            time_s,
            rpm,
            plate,
            lambda,
            coolant,
            manifold_kpa,
        } = row;
        format!(
            "2031-05-04 10:15:{:06.3},{rpm:.0},{:.3},{:.2},{:.1},{:.2},29.92",
            time_s,
            plate / 100.0,
            lambda * 9.8,
            coolant + 273.15,
            manifold_kpa / 6.894_757,
        )
    });
    let found = proposed(&text);
    assert_eq!(found.time.as_ref().unwrap().time.unit, Unit::Iso8601);
    assert_eq!(channel(&found, Quantity::PlateAngle).1, Unit::Ratio);
    assert_eq!(channel(&found, Quantity::Lambda).1, Unit::Afr);
    assert_eq!(
        channel(&found, Quantity::CoolantTemperature).1,
        Unit::Kelvin
    );
    assert_eq!(channel(&found, Quantity::ManifoldPressure).1, Unit::Psi);
    assert_eq!(channel(&found, Quantity::AmbientPressure).1, Unit::InHg);
    assert_eq!(found.refusal, None);
}
