//! Studies: many runs of one system, and what they say together.

pub mod faults;
