//! What the plate does, in words.

use baytrim_rider::Estimate;

use super::{DRIFT_FELT_PERCENT_PER_1000_RPM, ModeDelivery};

/// How far the plate may stand from its table before it is said, percent: more than a sensor is off.
const OFF_TABLE_PERCENT: f64 = 2.0;

/// Returns what the plate does in a riding mode, one sentence a matter.
pub fn sentences(found: &ModeDelivery) -> Vec<String> {
    if found.delivery.points.is_empty() {
        return vec![
            "No pull has the hand standing still in this mode: hold the grip at several places, each several times, while engine speed sweeps.".to_owned(),
        ];
    }
    let mut told = vec![drift(found), gain(found)];
    told.extend(off_table(found));
    told
}

fn drift(found: &ModeDelivery) -> String {
    let Some(all) = found.drift else {
        return "Whether the plate moves by itself is not known: no stay swept engine speed by 800 rpm.".to_owned();
    };
    let points = found.delivery.points.iter();
    let most = points
        .filter_map(|point| Some((point.grip_percent, point.drift_percent_per_1000_rpm?)))
        .max_by(|(_, a), (_, b)| a.value.abs().total_cmp(&b.value.abs()));
    let worst = most.map_or_else(String::new, |(grip, drift)| {
        format!("; most at {grip:.0} % of grip, {}", per_1000(drift))
    });
    if found.drifts() {
        let way = if all.value < 0.0 { "shuts" } else { "opens" };
        return format!(
            "The plate {way} by itself as engine speed rises, {} over all stays{worst}.",
            per_1000(all)
        );
    }
    match all.interval {
        Some((low, high)) if low.abs().max(high.abs()) <= DRIFT_FELT_PERCENT_PER_1000_RPM => {
            format!("The plate stays where the hand puts it: {}.", per_1000(all))
        }
        Some(_) => format!(
            "The plate is not proven to move by itself: {} over all stays{worst}.",
            per_1000(all)
        ),
        None => format!(
            "One stay alone swept engine speed, {}: too few to tell whether the plate moves by itself.",
            per_1000(all)
        ),
    }
}

fn gain(found: &ModeDelivery) -> String {
    let steps = &found.delivery.gains;
    let steep = found.steep_steps();
    let most = steep.iter().filter_map(|&index| {
        let gain = steps.get(index)?;
        Some((gain, gain.over_mean?))
    });
    if let Some((gain, over)) = most.max_by(|(_, a), (_, b)| a.value.total_cmp(&b.value)) {
        let others = match steep.len() - 1 {
            0 => String::new(),
            1 => "; one more step is steep too".to_owned(),
            more => format!("; {more} more steps are steep too"),
        };
        return format!(
            "The gain is uneven: from {:.0} to {:.0} % of grip the plate goes {:.2} % for a percent, {:.1} times the mean{}{others}.",
            gain.from_grip_percent,
            gain.to_grip_percent,
            gain.gain,
            over.value,
            over.interval
                .map_or_else(String::new, |(low, high)| format!(
                    " ({low:.1} to {high:.1}, 95 %)"
                ))
        );
    }
    if steps.len() < 2 {
        return "Whether the gain is even is not known: the hand stood at fewer than three places."
            .to_owned();
    }
    if steps
        .iter()
        .all(|gain| gain.over_mean.is_none_or(|over| over.interval.is_none()))
    {
        return "Whether the gain is even is not known: the hand stood only once at its places."
            .to_owned();
    }
    "No step of the hand is proven to move the plate much more than the others.".to_owned()
}

fn off_table(found: &ModeDelivery) -> Option<String> {
    let off = found.off_table?;
    let (low, high) = off.interval?;
    if off.value.abs() < OFF_TABLE_PERCENT || (low <= 0.0 && high >= 0.0) {
        return None;
    }
    let way = if off.value < 0.0 {
        "further shut"
    } else {
        "further open"
    };
    Some(format!(
        "The plate stood {:.1} % {way} than the loaded table says{}: another table was loaded, or something else moves the plate, which no table cures.",
        off.value.abs(),
        between(off)
    ))
}

fn per_1000(drift: Estimate) -> String {
    format!("{:+.2} % over 1000 rpm{}", drift.value, between(drift))
}

fn between(estimate: Estimate) -> String {
    estimate.interval.map_or_else(
        || " (one stay, no interval)".to_owned(),
        |(low, high)| format!(" ({low:+.2} to {high:+.2} %, 95 %)"),
    )
}
