//! Runs jobs behind the API and the review page.
//! Knows nothing of mathematics.

pub mod access;
pub mod carry;
pub mod checkpoints;
mod claim;
pub mod cli;
pub mod clock;
pub mod compute;
pub mod config;
pub mod convert;
mod demo;
mod ending;
pub mod evidence;
pub mod fault;
mod follow;
pub mod intake;
pub mod judged;
pub mod ledger_check;
pub mod library;
pub mod limits;
pub mod live;
pub mod log;
pub mod metrics;
pub mod page;
mod private;
mod recent;
pub mod reproduce;
pub mod retention;
pub mod server;
pub mod services;
pub mod sheet;
pub mod shop;
mod shop_view;
pub mod stages;
pub mod status;
mod telemetry;
pub mod tls;
pub mod transfer;
pub mod webhook;

pub use server::{ServeError, Serving, serve};
pub use shop::Shop;
