//! The contributor's commands.

fn main() {}
