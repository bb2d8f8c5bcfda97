//! What is typed to start a clock by hand.

use crate::web::Form;

/// A clock as typed, checked.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ClockForm {
    pub(super) name: String,
    pub(super) subject: String,
    pub(super) minutes: f64,
}

/// A batch as people write it, `flask 201`, as the subject of a clock; anything else is a
/// thing of its own at the bench.
fn subject(of: &str) -> String {
    let written = of.to_lowercase().replacen(' ', ":", 1);
    let known = written.split_once(':').is_some_and(|(kind, number)| {
        ["plate", "cure", "flask", "load"].contains(&kind) && number.parse::<i32>().is_ok()
    });
    if known { written } else { format!("bench:{of}") }
}

impl ClockForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let name = form.line("name", 60);
        if name.is_empty() {
            form.wrong("name", "Say what is timed, such as soak or quench.");
        }
        let of = form.line("of", 80);
        let minutes = form.number("minutes", 0.1, 7.0 * 24.0 * 60.0);
        form.good().then_some(())?;
        Some(Self { name, subject: subject(&of), minutes: minutes? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_belongs_to_the_batch_that_was_typed() {
        assert_eq!(subject("Flask 201"), "flask:201");
        assert_eq!(subject("cure 31"), "cure:31");
        assert_eq!(subject("flask of tea"), "bench:flask of tea");
        assert_eq!(subject(""), "bench:");
    }
}
