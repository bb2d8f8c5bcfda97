//! Rebuilds the program when a migration is added.
#![allow(clippy::print_stdout, reason = "this is how a build script speaks to cargo")]

fn main() {
    println!("cargo:rerun-if-changed=migrations");
}
