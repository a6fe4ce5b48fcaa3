//! Power of a pull, from its roller.

use baytrim_model::bay::BaySetup;
use baytrim_model::channel::Quantity;
use baytrim_model::power::{
    AirSource, PowerCorrection, PowerPoint, PowerSettings, PowerSource, PowerStandard, PullAir,
    PullPower,
};
use baytrim_model::samples::Samples;
use baytrim_power::slope::{slope_bandwidth_hz, value_bandwidth_hz};
use baytrim_power::{
    OutOfValidity, RollerError, RollerTrace, Standard, correct, power_curve, power_from_inertia,
    power_from_torque,
};

use crate::air::{HUMIDITY_TAKEN_PERCENT, ambient};

/// Returns what the roller of a pull says of power; none where the log has no roller.
pub fn of_pull(
    samples: &Samples,
    settings: &PowerSettings,
    bay: &BaySetup,
    air: Option<&PullAir>,
) -> Option<PullPower> {
    let speed = read(samples, Quantity::RollerSpeed);
    let torque = read(samples, Quantity::RollerTorque);
    if speed.is_none() && torque.is_none() {
        return None;
    }
    let roller = bay.roller.unwrap_or_default();
    let mut power = PullPower {
        source: None,
        points: Vec::new(),
        band_rpm: settings.band_rpm,
        window_s: roller.window_s,
        bandwidth_hz: value_bandwidth_hz(roller.window_s),
        part_load_count: 0,
        correction: None,
        remarks: Vec::new(),
    };
    let (source, rows) = match (speed, torque, roller.inertia_kg_m2) {
        (None, _, _) => {
            let remark = "roller torque is logged and roller speed is not: give roller_speed a column in the channel map";
            power.remarks.push(remark.to_owned());
            return Some(power);
        }
        (Some(speed), Some(torque), _) => {
            let trace = trace(samples, speed)?;
            let rows = power_from_torque(&trace, torque, roller.window_s);
            (PowerSource::Torque, rows)
        }
        (Some(speed), None, Some(inertia)) => {
            let trace = trace(samples, speed)?;
            let rows = power_from_inertia(&trace, inertia, roller.window_s);
            power.bandwidth_hz = slope_bandwidth_hz(roller.window_s);
            (PowerSource::Inertia, rows)
        }
        (Some(_), None, None) => {
            let remark = "roller speed is logged, and neither its torque nor its inertia is known: give roller_torque a column, or write inertia_kg_m2 under [bays.NAME.roller] in the job file";
            power.remarks.push(remark.to_owned());
            return Some(power);
        }
    };
    power.source = Some(source);
    curve(&mut power, rows);
    if !power.points.is_empty() {
        correct_to(&mut power, settings.standard, air);
    }
    Some(power)
}

fn curve(power: &mut PullPower, rows: Result<Vec<baytrim_power::roller::PowerRow>, RollerError>) {
    let rows = match rows {
        Ok(rows) => rows,
        Err(error) => {
            power.remarks.push(error.to_string());
            return;
        }
    };
    // Where the roller is braked or slows, inertia gives no power of the engine.
    let is_driven = |row: &baytrim_power::roller::PowerRow| {
        row.power_kw.is_finite() && row.engine_speed_rpm > 0.0 && row.power_kw > 0.0
    };
    let driven: Vec<_> = rows.into_iter().filter(is_driven).collect();
    // The factor is put on later, since the air may not be known.
    let found = power_curve(&driven, unit_correction(), power.band_rpm);
    power.part_load_count = found.part_load_count as u64;
    let points = found.points.iter().map(|point| PowerPoint {
        engine_speed_rpm: point.engine_speed_rpm,
        power_kw: point.power_kw,
        power_error_kw: point.power_error_kw,
        torque_nm: point.torque_nm,
        row_count: point.row_count as u64,
    });
    power.points = points.collect();
    if power.points.is_empty() {
        power.remarks.push(
            "no band of engine speeds has three rows with the plate wide open (95 % and more) and the roller driven: log a full-throttle sweep, or widen power.band_rpm"
                .to_owned(),
        );
    }
}

fn unit_correction() -> baytrim_power::Correction {
    baytrim_power::Correction {
        standard: Standard::Iso1585,
        factor: 1.0,
        out_of_validity: Vec::new(),
    }
}

/// Puts the correction of `standard` on a curve, and says why where there is none or only half of one.
pub fn correct_to(power: &mut PullPower, standard: PowerStandard, air: Option<&PullAir>) {
    power.correction = air.and_then(|air| correction(standard, air));
    match (&power.correction, air) {
        (None, _) => power.remarks.push(
            "power is not corrected, since pressure and temperature of the bay are not both known: log ambient_pressure and ambient_temperature, or give --pressure-kpa and --temperature-c"
                .to_owned(),
        ),
        (Some(_), Some(air)) => {
            let is_intake = |source| source == AirSource::Intake;
            if air.temperature_c.is_some_and(|found| is_intake(found.source)) {
                power.remarks.push(
                    "the intake temperature stands in for that of the bay; an airbox runs warmer, so that corrected power may be too high"
                        .to_owned(),
                );
            }
        }
        _ => {}
    }
}

/// Returns the correction of `standard` in such air; none where pressure or temperature are not known.
pub fn correction(standard: PowerStandard, air: &PullAir) -> Option<PowerCorrection> {
    let by = of_model(standard);
    let found = correct(by, &ambient(air, None)?);
    let at = |percent| Some(correct(by, &ambient(air, Some(percent))?).factor);
    let is_known = air.humidity_percent.is_some() || standard == PowerStandard::Din70020;
    let factor_range = if is_known {
        None
    } else {
        Some((at(0.0)?, at(100.0)?))
    };
    let mut outside: Vec<String> = found.out_of_validity.iter().map(sentence).collect();
    if let Some((dry, wet)) = factor_range {
        outside.push(format!(
            "the humidity is not known; {HUMIDITY_TAKEN_PERCENT:.0} % was taken, and the factor lies between {dry:.4} and {wet:.4}"
        ));
    }
    Some(PowerCorrection {
        standard,
        factor: found.factor,
        factor_range,
        outside,
    })
}

/// Returns the name of a standard that is printed beside every figure.
pub fn title(standard: PowerStandard) -> &'static str {
    of_model(standard).name()
}

fn of_model(standard: PowerStandard) -> Standard {
    match standard {
        PowerStandard::SaeJ1349 => Standard::SaeJ1349,
        PowerStandard::Iso1585 => Standard::Iso1585,
        PowerStandard::Din70020 => Standard::Din70020,
    }
}

fn sentence(outside: &OutOfValidity) -> String {
    match outside {
        OutOfValidity::Temperature { found_c, range_c } => format!(
            "{found_c:.1} C is outside the standard's {} to {} C",
            range_c.0, range_c.1
        ),
        OutOfValidity::DryPressure {
            found_kpa,
            range_kpa,
        } => format!(
            "{found_kpa:.1} kPa of dry air is outside the standard's {} to {} kPa",
            range_kpa.0, range_kpa.1
        ),
        OutOfValidity::Factor { found, range } => format!(
            "the factor {found:.4} is outside {} to {}",
            range.0, range.1
        ),
    }
}

fn read(samples: &Samples, quantity: Quantity) -> Option<&[f64]> {
    let channel = samples.channel(quantity)?;
    channel
        .iter()
        .any(|value| value.is_finite())
        .then_some(channel)
}

fn trace(samples: &Samples, roller_speed: &[f64]) -> Option<RollerTrace> {
    let column = |quantity| samples.channel(quantity).map(<[f64]>::to_vec);
    Some(RollerTrace {
        offset_s: samples.offset_s.clone(),
        engine_speed_rpm: column(Quantity::EngineSpeed)?,
        roller_speed_rpm: roller_speed.to_vec(),
        plate_angle_percent: column(Quantity::PlateAngle)?,
    })
}
