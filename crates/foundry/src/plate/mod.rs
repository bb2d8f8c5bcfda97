//! A plate: one run of the printer.

mod layers;

pub use layers::{LayerTimes, PrintRefusal, PrintRun, print_run, resin_for_plate};
