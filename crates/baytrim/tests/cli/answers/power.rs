//! Power of three pulls.

use baytrim_api::v1::{
    AirReading, AirSource, ComparedPower, PowerChange, PowerCorrection, PowerDrift, PowerPoint,
    PowerSideBySide, PowerSource, PowerStandard, PowerVerdict, PullAir, PullPower,
};

use super::MOMENT;

pub(crate) fn power() -> PowerSideBySide {
    PowerSideBySide {
        name: "jobs/quoll-1".to_owned(),
        standard: PowerStandard::Iso1585.into(),
        standard_title: "ISO 1585".to_owned(),
        pulls: vec![
            pull("p1", 1.0, None, Some(1.0123)),
            pull("p4", 1.031, Some(3.1), Some(1.0291)),
            pull("p5", 1.03, Some(3.0), None),
        ],
        common_rpm: vec![4000.0, 6000.0, 8000.0],
        corrected: false,
        change: Some(change()),
        cautions: vec![
            "Power at the roller: losses of gearbox, chain and tyre are in it.".to_owned(),
        ],
    }
}

fn change() -> PowerChange {
    PowerChange {
        before_pulls: vec!["p1".to_owned()],
        after_pulls: vec!["p4".to_owned(), "p5".to_owned()],
        difference_percent: 3.05,
        low_percent: Some(1.2),
        high_percent: Some(4.9),
        repeatability_percent: Some(0.6),
        verdict: PowerVerdict::More.into(),
        drift: Some(PowerDrift {
            drift_percent_per_h: -0.4,
            drift_low_percent_per_h: -0.9,
            drift_high_percent_per_h: 0.1,
            change_percent: 3.4,
            change_low_percent: 1.1,
            change_high_percent: 5.7,
            verdict: PowerVerdict::More.into(),
        }),
        sentences: vec![
            "Side by side, r1 has +3.1 % against r0, 95 % interval +1.2 to +4.9 %: more power. Pulls of one state repeat to 0.6 %.".to_owned(),
        ],
    }
}

fn pull(
    id: &str,
    share: f64,
    difference_percent: Option<f64>,
    factor: Option<f64>,
) -> ComparedPower {
    let points: Vec<PowerPoint> = [
        (4000.0, 24.1, 57.5),
        (6000.0, 41.2, 65.6),
        (8000.0, 51.9, 62.0),
    ]
    .into_iter()
    .map(|(rpm, power_kw, torque_nm)| PowerPoint {
        rpm,
        power_kw: power_kw * share,
        power_error_kw: 0.11,
        torque_nm: torque_nm * share,
        corrected_power_kw: factor.map(|factor| power_kw * share * factor),
        corrected_torque_nm: factor.map(|factor| torque_nm * share * factor),
        row_count: 12,
    })
    .collect();
    let reading = |mean, change, source: AirSource| AirReading {
        mean,
        change,
        source: source.into(),
    };
    ComparedPower {
        name: format!("jobs/quoll-1/pulls/{id}"),
        bay: "east".to_owned(),
        revision: if share > 1.0 { "r1" } else { "r0" }.to_owned(),
        stage: "s1".to_owned(),
        create_time: Some(MOMENT),
        power: Some(PullPower {
            source: PowerSource::Inertia.into(),
            peak_power: points.last().copied(),
            peak_torque: points.get(1).copied(),
            points,
            band_rpm: 250.0,
            window_s: 0.3,
            bandwidth_hz: 1.93,
            part_load_count: 40,
            correction: factor.map(|correction_factor| PowerCorrection {
                standard: PowerStandard::Iso1585.into(),
                title: "ISO 1585".to_owned(),
                correction_factor,
                valid: true,
                ..PowerCorrection::default()
            }),
            remarks: Vec::new(),
        }),
        air: factor.map(|_| PullAir {
            pressure: Some(reading(98.4, 0.0, AirSource::Logged)),
            temperature: Some(reading(24.6, 1.3, AirSource::Logged)),
            humidity: Some(reading(52.0, 0.0, AirSource::Given)),
            density_kg_m3: Some(1.146),
        }),
        difference_percent,
        doubts: factor.map_or_else(
            || {
                vec![
                    "not corrected: pressure and temperature of the bay are not both known"
                        .to_owned(),
                ]
            },
            |_| Vec::new(),
        ),
    }
}
