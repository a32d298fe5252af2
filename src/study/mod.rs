//! Studies: many runs of the one engine, put side by side.

pub mod sweep;
