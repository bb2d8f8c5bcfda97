//! Reads the arguments and sets the exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    pourday::cli::run()
}
