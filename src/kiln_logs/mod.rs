//! Logs of kilns' controllers: kept as they came, read as was chosen for the kiln.
//!
//! The pages that show them belong to the loads, whose firings they are.

mod form;
mod reading;
mod store;

pub use form::{LogForm, choices_of, filled, read_form};
pub use reading::{
    LogRefusal, MOST_BYTES, Reading, against, better_scale, columns_of, first_lines, read, text_of,
};
pub use store::{
    LogRow, NewLog, add, current, file_of, form_of_kiln, history, lock_current, put_back,
    read_otherwise, remember_for_kiln,
};
