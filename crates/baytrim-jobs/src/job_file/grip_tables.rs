//! Tables from grip to plate in a job file.

use std::collections::BTreeMap;

use baytrim_model::field::FieldError;
use baytrim_model::grip::GripTableSpec;
use baytrim_model::ids::ModeName;
use baytrim_rider::grid;

use super::keep;
use crate::grip::rules;

/// Returns the tables that can be kept to, and files a complaint about every other.
pub(super) fn tables(
    file: BTreeMap<String, GripTableSpec>,
    errors: &mut Vec<FieldError>,
) -> BTreeMap<ModeName, GripTableSpec> {
    let mut tables = BTreeMap::new();
    for (name, table) in file {
        let path = format!("grip.{name}");
        let key = name.parse().map_err(|error: FieldError| FieldError {
            field: path.clone(),
            ..error
        });
        if let Err(error) = grid::check(&rules(&table), table.resolution) {
            let text = error.to_string();
            let (problem, remedy) = text
                .split_once("; ")
                .unwrap_or((&text, "see docs/job-file.md"));
            errors.push(FieldError::new(&path, problem, remedy));
        }
        if let Some(key) = keep(errors, key) {
            tables.insert(key, table);
        }
    }
    tables
}
