//! Heavy work beside the pages: a queue in the database, and workers that take from it.
//!
//! A job is known by its kind and a key that stands for everything that goes into it, so the same
//! question asked twice is computed once, and its answer stays. Any copy of the program may take a
//! job; one whose worker fell silent is taken by another. A job may therefore run twice, and must
//! leave the same behind when it does.

mod pool;
mod store;
mod worker;

pub use pool::{aside, at_leisure};
pub use store::{Job, Standing, State, ask, cancel, standing};
pub use worker::{Fault, Handler, Kind, Watch, Worker};
