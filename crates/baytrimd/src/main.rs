//! Runs jobs behind the API and the review page.
fn main() {}
