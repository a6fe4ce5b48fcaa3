//! The job sheet: what came in, what was done, what it is now, for the customer and for the file.
//!
//! `content` says it in plain words; the review page shows it, `pdf` sets it on A4.

mod content;
mod draw;
mod map;
mod paper;
mod pdf;
mod stage_words;
mod vehicle_words;
mod words;

use crate::fault::Fault;
use crate::shop::{Loaded, Shop};
use crate::stages::first_to_last;

pub use content::{Maps, Sheet, Step, Table};
pub use draw::PdfError;
pub use pdf::{Rendered, render};

/// Returns the sheet of a job, its last stage compared with its first.
///
/// # Errors
/// When evidence can't be had any more.
pub fn draw_up(shop: &Shop, job: &Loaded) -> Result<Sheet, Fault> {
    let stages = first_to_last(shop, job)?;
    Ok(Sheet::of(&job.state, &job.head, stages.as_ref()))
}
