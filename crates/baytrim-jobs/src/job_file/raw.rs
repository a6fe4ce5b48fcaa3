//! The job file to the letter.

use std::collections::BTreeMap;

use baytrim_model::bay::DelayModel;
use baytrim_model::channel::ChannelMap;
use baytrim_model::engine::Engine;
use baytrim_model::gate::GateSettings;
use baytrim_model::grip::GripTableSpec;
use baytrim_model::library::Vehicle;
use baytrim_model::limits::Limits;
use baytrim_model::power::{PowerSettings, Roller};
use baytrim_model::vehicle::{RecordedAir, RecordedOverrun};
use serde::Deserialize;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct JobFile {
    pub(super) id: Option<String>,
    pub(super) name: String,
    #[serde(default)]
    pub(super) notes: String,
    pub(super) vehicle: Option<Vehicle>,
    pub(super) engine: Engine,
    pub(super) fuel: FuelFile,
    pub(super) axes: AxesFile,
    pub(super) table: TableFile,
    pub(super) target: TargetFile,
    #[serde(default)]
    pub(super) limits: Limits,
    #[serde(default)]
    pub(super) gates: GateSettings,
    #[serde(default)]
    pub(super) power: PowerSettings,
    pub(super) overrun: Option<RecordedOverrun>,
    pub(super) secondary_air: Option<RecordedAir>,
    #[serde(default)]
    pub(super) bays: BTreeMap<String, BayFile>,
    #[serde(default)]
    pub(super) grip: BTreeMap<String, GripTableSpec>,
}

/// A fuel by its ratio, or by its composition.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FuelFile {
    pub(super) name: String,
    pub(super) stoichiometric_afr: Option<f64>,
    pub(super) hydrogen_per_carbon: Option<f64>,
    pub(super) oxygen_per_carbon: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AxesFile {
    pub(super) rpm: Vec<f64>,
    pub(super) plate_percent: Vec<f64>,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum ContentName {
    Percent,
    Factor,
    VolumetricEfficiency,
    EffectiveTimeMs,
    TotalTimeMs,
}

/// Which axis runs down in a grid of values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RowsAxis {
    #[default]
    Plate,
    Rpm,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TableFile {
    pub(super) content: ContentName,
    pub(super) dead_time_ms: Option<f64>,
    pub(super) resolution: Option<f64>,
    values: Option<Vec<Vec<f64>>>,
    file: Option<String>,
    #[serde(default)]
    rows: RowsAxis,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TargetFile {
    lambda: Option<f64>,
    values: Option<Vec<Vec<f64>>>,
    file: Option<String>,
    #[serde(default)]
    rows: RowsAxis,
}

/// Where the values of a grid come from: exactly one of the three must be given.
#[derive(Debug)]
pub(super) struct GridSource<'a> {
    pub(super) one_for_all: Option<f64>,
    pub(super) values: Option<&'a [Vec<f64>]>,
    pub(super) file: Option<&'a str>,
    pub(super) rows: RowsAxis,
}

impl TableFile {
    pub(super) fn grid(&self) -> GridSource<'_> {
        GridSource {
            one_for_all: None,
            values: self.values.as_deref(),
            file: self.file.as_deref(),
            rows: self.rows,
        }
    }
}

impl TargetFile {
    pub(super) fn grid(&self) -> GridSource<'_> {
        GridSource {
            one_for_all: self.lambda,
            values: self.values.as_deref(),
            file: self.file.as_deref(),
            rows: self.rows,
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct BayFile {
    #[serde(default)]
    pub(super) delay: DelayFile,
    pub(super) channels: Option<ChannelsFile>,
    pub(super) roller: Option<Roller>,
}

#[derive(Debug, Deserialize)]
#[serde(
    untagged,
    expecting = "expected \"identify\" or { cycles, gas_volume_l, lag_s }"
)]
pub(super) enum DelayFile {
    Word(String),
    Given(DelayModel),
}

impl Default for DelayFile {
    fn default() -> Self {
        Self::Word("identify".to_owned())
    }
}

#[derive(Debug, Deserialize)]
#[serde(
    untagged,
    expecting = "expected the name of a channel map file, or a channel map with `time` and `channels`"
)]
pub(super) enum ChannelsFile {
    File(String),
    Inline(Box<ChannelMap>),
}
