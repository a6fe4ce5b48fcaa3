//! Words of the page that the job sheet uses as well.

pub(crate) use super::number::{counted, decimals, fixed, seconds, signed};
pub(crate) use super::proposal::node::unit;
pub(crate) use super::scale::{change as change_class, light as light_colours};
pub(crate) use baytrim_jobs::brief::active_at as last_activity;
