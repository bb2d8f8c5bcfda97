//! Reads the arguments and sets the exit code.
fn main() {}
