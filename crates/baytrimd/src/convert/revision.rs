//! Table revisions and the forms that they are exported in.

use baytrim_api::v1;
use baytrim_api::v1::export_table_request as wire;
use baytrim_jobs::export::{DECIMALS_MAX, Form, Format, Quantity, Rows};
use baytrim_jobs::{JobState, Refusal};
use baytrim_model::revision::{Revision, RevisionOrigin};

use super::name;
use super::proposal::GRIP_CONTENT;
use super::time::timestamp;

/// Returns a revision with its values.
pub fn whole(state: &JobState, revision: &Revision) -> v1::Revision {
    if let Some(mode) = revision.table.mode() {
        let spec = state.spec.grip.get(mode);
        return v1::Revision {
            rpm: spec.map(|spec| spec.rpm.clone()).unwrap_or_default(),
            grip_percent: spec
                .map(|spec| spec.grip_percent.clone())
                .unwrap_or_default(),
            values: revision.values.clone(),
            ..brief(state, revision)
        };
    }
    let axes = &state.spec.axes;
    let percent = state.log_trim(revision).into_iter();
    v1::Revision {
        rpm: axes.rpm.breakpoints().to_vec(),
        plate_percent: axes.plate_percent.breakpoints().to_vec(),
        values: revision.values.clone(),
        total_percent: percent.map(|trim| trim.exp_m1() * 100.0).collect(),
        ..brief(state, revision)
    }
}

/// Returns a revision without its values.
pub fn brief(state: &JobState, revision: &Revision) -> v1::Revision {
    let origin = match &revision.origin {
        RevisionOrigin::Base => "base".to_owned(),
        RevisionOrigin::Approval { proposal } => format!("approval of {proposal}"),
        RevisionOrigin::Revert { to } => format!("revert to {to}"),
    };
    v1::Revision {
        name: name::revision(state.id(), revision.id),
        in_force: state.is_in_force(revision),
        origin,
        create_time: Some(timestamp(revision.created_at)),
        creator: revision.created_by.to_string(),
        reason: revision.reason.clone(),
        content: match revision.table.mode() {
            None => state.spec.table.content.as_str().to_owned(),
            Some(_) => GRIP_CONTENT.to_owned(),
        },
        grip_mode: revision
            .table
            .mode()
            .map_or_else(String::new, ToString::to_string),
        ..v1::Revision::default()
    }
}

/// Returns the form of an export.
///
/// # Errors
/// When a number is none of an enum's.
pub fn form(request: &v1::ExportTableRequest) -> Result<Form, Refusal> {
    let unknown = |field: &'static str, number: i32| {
        let problem = format!("{number} is none of its values");
        Refusal::field(field, problem, "use a value that this daemon's proto has")
    };
    let format =
        wire::Format::try_from(request.format).map_err(|_| unknown("format", request.format))?;
    let quantity = wire::Quantity::try_from(request.quantity)
        .map_err(|_| unknown("quantity", request.quantity))?;
    let rows = wire::Rows::try_from(request.rows).map_err(|_| unknown("rows", request.rows))?;
    Ok(Form {
        format: match format {
            wire::Format::Unspecified | wire::Format::Csv => Format::Csv,
            wire::Format::Json => Format::Json,
            wire::Format::Grid => Format::Grid,
        },
        quantity: match quantity {
            wire::Quantity::Unspecified | wire::Quantity::Value => Quantity::Value,
            wire::Quantity::Percent => Quantity::Percent,
            wire::Quantity::Factor => Quantity::Factor,
        },
        rows: match rows {
            wire::Rows::Unspecified | wire::Rows::Plate => Rows::Plate,
            wire::Rows::Rpm => Rows::Rpm,
        },
        decimals: request.decimals.map(decimals).transpose()?,
    })
}

fn decimals(number: u32) -> Result<u8, Refusal> {
    let found = u8::try_from(number).ok();
    found
        .filter(|decimals| *decimals <= DECIMALS_MAX)
        .ok_or_else(|| {
            let problem = format!("{number} is above {DECIMALS_MAX}");
            Refusal::field("decimals", problem, "ask for 0 to 9 digits after the point")
        })
}
