//! What the pages say, checked as text. How they look and work in a browser is checked in `tests/browser`.

mod answers;
mod contrast;
mod deciding;
mod grip;
mod house;
mod paper;
mod saying;
