//! The roller and the air of the bay.

use baytrim_model::channel::{Quantity, Unit};

use super::{Row, channel, log, proposed};

fn bay_log(header: &str, separator: &str) -> String {
    log(header, |row| {
        let Row {
            time_s,
            rpm,
            plate,
            lambda,
            ..
        } = row;
        let cells = [
            format!("{time_s:.2}"),
            format!("{rpm:.0}"),
            format!("{plate:.1}"),
            format!("{lambda:.3}"),
            format!("{:.1}", rpm / 5.0),
            format!("{:.0}", 100.0 + 2.0 * plate),
            "41.5".to_owned(),
            "23.4".to_owned(),
            "992.0".to_owned(),
        ];
        cells.join(separator)
    })
}

/// If this fails, a log with power in it gives none, or its roller's speed passes for the engine's.
#[test]
fn roller_and_air_are_found() {
    for (header, separator, columns) in [
        (
            "Time,RPM,TPS,Lambda,Roller speed (rpm),Roller torque (Nm),Relative humidity (%),Ambient temperature (°C),Ambient pressure (mbar)",
            ",",
            [
                "Roller speed (rpm)",
                "Roller torque (Nm)",
                "Relative humidity (%)",
                "Ambient temperature (°C)",
                "Ambient pressure (mbar)",
            ],
        ),
        (
            "Zeit;Drehzahl;Drosselklappe;Lambda;Rollendrehzahl;Rollendrehmoment [Nm];Luftfeuchtigkeit [%];Umgebungstemperatur [°C];Luftdruck [hPa]",
            ";",
            [
                "Rollendrehzahl",
                "Rollendrehmoment [Nm]",
                "Luftfeuchtigkeit [%]",
                "Umgebungstemperatur [°C]",
                "Luftdruck [hPa]",
            ],
        ),
    ] {
        let found = proposed(&bay_log(header, separator));
        let wanted = [
            (Quantity::RollerSpeed, Unit::Rpm),
            (Quantity::RollerTorque, Unit::Nm),
            (Quantity::RelativeHumidity, Unit::Percent),
            (Quantity::AmbientTemperature, Unit::Celsius),
            (Quantity::AmbientPressure, Unit::Mbar),
        ];
        for ((quantity, unit), column) in wanted.into_iter().zip(columns) {
            assert_eq!(channel(&found, quantity), (column, unit), "{header}");
        }
        let engine = channel(&found, Quantity::EngineSpeed).0;
        assert!(["RPM", "Drehzahl"].contains(&engine), "{engine}");
        assert_eq!(found.refusal, None);
    }
}
