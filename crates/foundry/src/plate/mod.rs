//! A plate: one run of the printer.

mod layers;
mod shelf;

pub use layers::{LayerTimes, PrintRefusal, PrintRun, print_run, resin_for_plate};
pub use shelf::{Bed, Rectangle, Spot, shelves};
