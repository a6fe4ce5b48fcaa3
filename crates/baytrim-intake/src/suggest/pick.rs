//! Picks a column for each quantity.

use baytrim_model::channel::{Channel, Quantity, Unit};

use super::behaviour::Behaviour;
use super::fit::{Reading, read_as};
use super::names::Name;
use super::report::{Missing, SuggestedChannel};
use super::table::RawColumn;
use super::unit_text::{StatedUnit, read_unit};
use crate::correlation::correlation;

/// Sure enough that a name is meant for a quantity.
const NAME_FIT_MIN: f64 = 0.25;

/// A column and what is known of it.
pub(super) struct Known<'a> {
    pub column: &'a RawColumn,
    pub name: Name,
    pub behaviour: Option<Behaviour>,
    pub stated: Option<StatedUnit>,
}

impl<'a> Known<'a> {
    /// Looks at `column`.
    pub(super) fn new(column: &'a RawColumn) -> Self {
        let name = Name::new(&column.name);
        let beside = column.unit.as_deref().and_then(read_unit);
        Self {
            behaviour: Behaviour::of(column),
            stated: beside
                .filter(|unit| *unit != StatedUnit::Pure)
                .or(name.unit)
                .or(beside),
            name,
            column,
        }
    }
}

/// One column for one quantity.
struct Candidate {
    quantity: Quantity,
    place: usize,
    confidence: f64,
    phrase: &'static str,
    reading: Reading,
}

/// Returns the channels that the columns are good for, surest first for each, and what is missing;
/// `clock` is the place of the column that time comes from.
pub(super) fn pick(
    columns: &[Known<'_>],
    clock: Option<usize>,
) -> (Vec<SuggestedChannel>, Vec<Missing>) {
    let mut missing = Vec::new();
    let mut all: Vec<Candidate> = Vec::new();
    for quantity in Quantity::ALL {
        all.extend(candidates(quantity, columns, clock, &mut missing));
    }
    // Where names are of use, what has none is something else.
    if all.is_empty() {
        for quantity in Quantity::ALL {
            all.extend(by_numbers_alone(quantity, columns, clock));
        }
    }
    all.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    let mut taken: Vec<&Candidate> = Vec::new();
    for candidate in &all {
        let is_free = taken
            .iter()
            .all(|other| other.quantity != candidate.quantity && other.place != candidate.place);
        if is_free {
            taken.push(candidate);
        }
    }
    let mut channels: Vec<SuggestedChannel> = taken
        .iter()
        .map(|candidate| {
            let rivals = all.iter().filter(|other| {
                other.quantity == candidate.quantity
                    && other.place != candidate.place
                    && other.confidence > 0.6 * candidate.confidence
                    && taken.iter().all(|taken| taken.place != other.place)
            });
            let rivals = rivals.map(|rival| columns[rival.place].column.name.clone());
            suggested(candidate, columns, rivals.collect())
        })
        .collect();
    channels.sort_by_key(|channel| channel.quantity);
    missing.retain(|missing| {
        channels
            .iter()
            .all(|channel| Some(channel.quantity) != missing.quantity)
    });
    for channel in &channels {
        missing.extend(channel.doubt.iter().map(|doubt| Missing {
            quantity: Some(channel.quantity),
            sentence: doubt.clone(),
        }));
    }
    (channels, missing)
}

fn candidates(
    quantity: Quantity,
    columns: &[Known<'_>],
    clock: Option<usize>,
    missing: &mut Vec<Missing>,
) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (place, known) in columns.iter().enumerate() {
        let (fit, phrase) = known.name.fit(quantity);
        if fit < NAME_FIT_MIN || Some(place) == clock {
            continue;
        }
        let Some(behaviour) = &known.behaviour else {
            let is_short = !missing
                .iter()
                .any(|missing| missing.quantity == Some(quantity));
            if is_short {
                missing.push(Missing::of(
                    quantity,
                    match known.column.texts.first() {
                        None => format!(
                            "column \"{}\" is named for it and holds no number",
                            known.column.name
                        ),
                        Some((text, _)) => format!(
                            "column \"{}\" is named for it and holds no number, but \"{text}\" and the like",
                            known.column.name
                        ),
                    },
                ));
            }
            continue;
        };
        // A name of the inverse states it as a unit does.
        let stated = known.stated.filter(|unit| *unit != StatedUnit::Pure);
        let stated = match phrase {
            "richesse" | "phi" | "equivalence ratio" => {
                stated.or(Some(StatedUnit::Known(Unit::EquivalenceRatio)))
            }
            _ => known.stated,
        };
        let Some(reading) = read_as(quantity, known.column, behaviour, stated) else {
            missing.push(Missing::of(quantity, why_not(quantity, known, behaviour)));
            continue;
        };
        let mut confidence = 0.62 * fit + 0.3 * reading.support;
        if known
            .stated
            .is_some_and(|stated| stated.of(quantity).is_some())
        {
            confidence += 0.07;
        }
        let may_stand = matches!(
            quantity,
            Quantity::AmbientPressure
                | Quantity::AmbientTemperature
                | Quantity::RelativeHumidity
                | Quantity::Purge
        );
        let must_move = quantity.units() != [Unit::Flag] && !may_stand;
        if must_move && behaviour.is_constant() {
            confidence *= 0.4;
        }
        found.push(Candidate {
            quantity,
            place,
            confidence: confidence.min(0.99),
            phrase,
            reading,
        });
    }
    found
}

fn why_not(quantity: Quantity, known: &Known<'_>, behaviour: &Behaviour) -> String {
    let name = &known.column.name;
    let (low, high) = (behaviour.low, behaviour.high);
    if quantity == Quantity::Lambda && known.stated == Some(StatedUnit::Volts) {
        return if high <= 1.3 {
            format!(
                "column \"{name}\" holds {low} to {high} V, as a switching sensor gives: it tells rich from lean and no lambda; log a wideband meter"
            )
        } else {
            format!(
                "column \"{name}\" holds {low} to {high} V: write two points of the meter's line, such as points = [[0.0, LAMBDA_AT_0_V], [5.0, LAMBDA_AT_5_V]]"
            )
        };
    }
    if quantity.units() == [Unit::Flag] && low >= 1.0 && high <= 1.0 {
        return format!(
            "column \"{name}\" is named for it and is on in the whole log, as a switch is; left out, since all of the log would be refused"
        );
    }
    if quantity.units() == [Unit::Flag] {
        return format!(
            "column \"{name}\" is named for it and holds {low} to {high}, which is no flag"
        );
    }
    format!(
        "column \"{name}\" is named for it and holds {low} to {high} (median {}), which is {quantity} in no unit that is known",
        behaviour.median
    )
}

/// Returns the columns that only their numbers speak for: an engine speed, a lambda or a plate in a
/// log whose names say nothing.
fn by_numbers_alone(
    quantity: Quantity,
    columns: &[Known<'_>],
    clock: Option<usize>,
) -> Vec<Candidate> {
    let confidence = match quantity {
        Quantity::EngineSpeed => 0.4,
        Quantity::Lambda => 0.35,
        Quantity::PlateAngle => 0.25,
        _ => return Vec::new(),
    };
    let is_nameless = |known: &Known<'_>| {
        let fits = Quantity::ALL
            .iter()
            .map(|quantity| known.name.fit(*quantity).0);
        fits.fold(0.0, f64::max) <= 0.0 && known.name.clock_fit() <= 0.5
    };
    let mut found = Vec::new();
    for (place, known) in columns.iter().enumerate() {
        let Some(behaviour) = &known.behaviour else {
            continue;
        };
        let moves = behaviour.distinct_count > 5 && behaviour.falling_share > 0.05;
        if Some(place) == clock || !is_nameless(known) || !moves {
            continue;
        }
        let Some(reading) = read_as(quantity, known.column, behaviour, known.stated) else {
            continue;
        };
        let is_typical = match quantity {
            Quantity::EngineSpeed => reading.unit == Unit::Rpm && behaviour.high > 1500.0,
            Quantity::Lambda => reading.unit != Unit::EquivalenceRatio,
            _ => {
                reading.unit == Unit::Percent
                    && behaviour.high > 20.0
                    && follows_load(place, columns)
            }
        };
        if is_typical {
            found.push(Candidate {
                quantity,
                place,
                confidence: confidence * reading.support,
                phrase: "",
                reading,
            });
        }
    }
    found
}

/// Returns whether the column rises with the manifold's pressure.
fn follows_load(place: usize, columns: &[Known<'_>]) -> bool {
    columns.iter().any(|known| {
        known.name.fit(Quantity::ManifoldPressure).0 > 0.5
            && correlation(&known.column.values, &columns[place].column.values) > 0.5
    })
}

fn suggested(
    candidate: &Candidate,
    columns: &[Known<'_>],
    rivals: Vec<String>,
) -> SuggestedChannel {
    let Candidate {
        quantity,
        place,
        phrase,
        reading,
        ..
    } = candidate;
    let known = &columns[*place];
    let mut channel = Channel::new(known.column.name.trim(), reading.unit);
    channel.offset = reading.offset;
    channel.points = reading.points;
    let needed = [
        Quantity::EngineSpeed,
        Quantity::PlateAngle,
        Quantity::Lambda,
    ];
    channel.optional = !needed.contains(quantity);
    let texts = known.column.texts.iter().map(|(text, _)| text.clone());
    channel.no_reading_text = texts.collect();
    let mut reasons = Vec::new();
    reasons.push(if phrase.is_empty() {
        "by its numbers alone: the name says nothing".to_owned()
    } else {
        format!("the name says \"{phrase}\"")
    });
    if known
        .stated
        .is_some_and(|stated| stated.of(*quantity) == Some(reading.unit))
    {
        reasons.push(format!("the log states {}", reading.unit));
    }
    if let Some(behaviour) = &known.behaviour {
        reasons.push(format!(
            "readings of {} to {} fit it in {}",
            short(behaviour.low),
            short(behaviour.high),
            reading.unit
        ));
        if behaviour.is_constant() {
            reasons.push("it never changes in this log".to_owned());
        }
    }
    if reading.points.is_some() || reading.doubt.is_some() {
        reasons.retain(|reason| !reason.starts_with("readings"));
    }
    SuggestedChannel {
        quantity: *quantity,
        channel,
        confidence: candidate.confidence,
        reason: reasons.join("; "),
        doubt: reading.doubt.clone(),
        rivals,
    }
}

/// Returns a reading without the digits that single precision and scaling leave behind it.
fn short(value: f64) -> f64 {
    let rounded: Result<f64, _> = format!("{value:.6e}").parse();
    rounded.unwrap_or(value)
}
