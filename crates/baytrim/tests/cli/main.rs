//! Drives the whole program against a canned server, and holds its pages to golden files.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod answers;
mod commands;
mod failures;
mod json;
mod library;
mod pages;
mod shop;
mod stages;
mod terminal;
