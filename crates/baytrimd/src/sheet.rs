//! The job sheet: what came in, what was done, what it is now, for the customer and for the file.
//!
//! `content` says it in plain words; the review page shows it, `pdf` sets it on A4.

mod content;
mod draw;
mod map;
mod paper;
mod pdf;
mod words;

pub use content::{Maps, Sheet, Step, Table};
pub use draw::PdfError;
pub use pdf::{Rendered, render};
