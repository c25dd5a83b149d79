//! The `darkline` command.

fn main() {}
