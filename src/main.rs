//! panbell.
fn main() {}
