//! What `tests/oracles/shapes.py` computed by other libraries.

use serde::Deserialize;

/// A curve through points, and its values.
#[derive(Debug, Deserialize)]
pub(crate) struct Curve {
    pub(crate) kind: String,
    pub x: Vec<f64>,
    pub y: Vec<f64>,
    pub at: Vec<f64>,
    pub value: Vec<f64>,
}

/// A table with what was wanted of it: grip, plate and weight each.
#[derive(Debug, Deserialize)]
pub(crate) struct Table {
    pub grip: Vec<f64>,
    pub wishes: Vec<(f64, f64, f64)>,
    pub slope: (f64, f64),
    pub smoothness: f64,
    pub plate: Vec<f64>,
}

/// All of them.
#[derive(Debug, Deserialize)]
pub(crate) struct Shapes {
    pub curves: Vec<Curve>,
    pub tables: Vec<Table>,
}

pub(crate) fn shapes() -> Shapes {
    let text = include_str!(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/oracles/shapes.json"
    ));
    serde_json::from_str(text).expect("the oracle's own file")
}
