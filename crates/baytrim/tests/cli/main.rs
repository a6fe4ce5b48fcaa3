//! Drives the whole program against a canned server, and holds its pages to golden files.

mod answers;
mod commands;
mod failures;
mod json;
mod pages;
mod shop;
mod terminal;
