//! The `openshut` program.
fn main() {}
