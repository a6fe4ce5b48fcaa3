//! The fuel, by its stoichiometric ratio or by its composition.

use baytrim_model::engine::{Fuel, stoichiometric_afr};
use baytrim_model::field::FieldError;

use super::raw::FuelFile;

/// Most hydrogen atoms to a carbon atom: methane's.
const HYDROGEN_MAX: f64 = 4.0;
/// Most oxygen atoms to a carbon atom: methanol's.
const OXYGEN_MAX: f64 = 1.0;

/// Returns the fuel; its ratio comes from the composition where that is given.
///
/// # Errors
/// When neither is given, or both, or a composition that no fuel has.
pub(super) fn fuel(file: &FuelFile) -> Result<Fuel, FieldError> {
    let composition = (file.hydrogen_per_carbon, file.oxygen_per_carbon);
    let stoichiometric_afr = match (file.stoichiometric_afr, composition) {
        (Some(ratio), (None, None)) => ratio,
        (None, (Some(hydrogen), oxygen)) => {
            let within = |name: &str, value: f64, max: f64| {
                (0.0..=max).contains(&value).then_some(value).ok_or_else(|| {
                    FieldError::new(
                        format!("fuel.{name}"),
                        format!("{value} is outside 0 to {max}"),
                        "give atoms for each carbon atom: petrol has about 1.85 of hydrogen, ethanol 3 and 0.5 of oxygen",
                    )
                })
            };
            let hydrogen = within("hydrogen_per_carbon", hydrogen, HYDROGEN_MAX)?;
            let oxygen = within("oxygen_per_carbon", oxygen.unwrap_or(0.0), OXYGEN_MAX)?;
            stoichiometric_afr(hydrogen, oxygen)
        }
        _ => {
            return Err(FieldError::new(
                "fuel",
                "needs either its stoichiometric ratio or its composition",
                "give stoichiometric_afr alone, or hydrogen_per_carbon with, for a fuel that holds oxygen, \
                 oxygen_per_carbon",
            ));
        }
    };
    Ok(Fuel {
        name: file.name.clone(),
        stoichiometric_afr,
    })
}
