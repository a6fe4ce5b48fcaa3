//! Flags of cuts and of the mixture, and the canister's purge.

use baytrim_model::channel::{Quantity, Unit};

use super::{Row, channel, log, proposed};

/// Gates of cuts, of air in the exhaust, of closed loop and of purge would go without their channels.
#[test]
fn flags_of_the_mixture_and_of_cuts_are_found() {
    let text = log(
        "Time,RPM,TPS,Lambda,Traction control,Secondary air valve,Closed loop status,Commanded evaporative purge (%),Launch switch",
        |row| {
            let Row {
                time_s,
                rpm,
                plate,
                lambda,
                ..
            } = row;
            let cut = u8::from((5.0..5.2).contains(time_s));
            let purge = if *time_s > 9.0 { 35.3 } else { 0.0 };
            format!("{time_s:.2},{rpm:.0},{plate:.1},{lambda:.3},{cut},{cut},1,{purge},1")
        },
    );
    let found = proposed(&text);
    assert_eq!(
        channel(&found, Quantity::TorqueCut),
        ("Traction control", Unit::Flag)
    );
    assert_eq!(
        channel(&found, Quantity::SecondaryAir),
        ("Secondary air valve", Unit::Flag)
    );
    assert_eq!(
        channel(&found, Quantity::ClosedLoop),
        ("Closed loop status", Unit::Flag)
    );
    assert_eq!(
        channel(&found, Quantity::Purge),
        ("Commanded evaporative purge (%)", Unit::Percent)
    );
    assert_eq!(channel(&found, Quantity::Lambda), ("Lambda", Unit::Lambda));
    assert_eq!(found.refusal, None);
}

/// A switch that is on would have every row refused.
#[test]
fn a_switch_that_is_on_throughout_is_no_event() {
    let text = log("Time,RPM,TPS,Lambda,Traction control", |row| {
        let Row {
            time_s,
            rpm,
            plate,
            lambda,
            ..
        } = row;
        format!("{time_s:.2},{rpm:.0},{plate:.1},{lambda:.3},1")
    });
    let found = proposed(&text);
    let channels: Vec<Quantity> = found.channels.iter().map(|one| one.quantity).collect();
    assert_eq!(
        channels,
        [
            Quantity::EngineSpeed,
            Quantity::PlateAngle,
            Quantity::Lambda
        ]
    );
    let told: Vec<&str> = found
        .missing
        .iter()
        .map(|missing| missing.sentence.as_str())
        .collect();
    assert_eq!(
        told,
        [
            "column \"Traction control\" is named for it and is on in the whole log, as a switch is; left out, since all of the log would be refused"
        ]
    );
    assert!(found.map.is_some() && found.refusal.is_none());
}

/// The words of other languages for the same would not be understood.
#[test]
fn flags_speak_other_languages_too() {
    let text = log(
        "Zeit;Drehzahl;Drosselklappe;Lambda;Lambdaregelung;Sekundärluft;Drehzahlbegrenzer;Tankentlüftung [%]",
        |row| {
            let Row {
                time_s,
                rpm,
                plate,
                lambda,
                ..
            } = row;
            let flag = u8::from((5.0..5.2).contains(time_s));
            format!(
                "{time_s:.2};{rpm:.0};{plate:.1};{lambda:.3};{flag};{flag};{flag};{:.0}",
                plate / 3.0
            )
        },
    );
    let found = proposed(&text);
    for (quantity, column) in [
        (Quantity::EngineSpeed, "Drehzahl"),
        (Quantity::Lambda, "Lambda"),
        (Quantity::ClosedLoop, "Lambdaregelung"),
        (Quantity::SecondaryAir, "Sekundärluft"),
        (Quantity::TorqueCut, "Drehzahlbegrenzer"),
        (Quantity::Purge, "Tankentlüftung [%]"),
    ] {
        assert_eq!(channel(&found, quantity).0, column);
    }
    // It is open whenever the plate is: most of this log would be refused.
    let is_told = |note: &String| note.contains("close the purge valve while mapping");
    assert!(found.notes.iter().any(is_told), "{:?}", found.notes);
}
