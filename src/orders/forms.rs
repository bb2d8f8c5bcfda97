//! What people type about an order.

use crate::clock::Day;
use crate::id::{AlloyId, ClientId};
use crate::web::Form;

/// Whom an order is for.
#[derive(Clone, Debug)]
pub(super) enum ForWhom {
    Known(ClientId),
    New { name: String, email: String, phone: String },
}

/// The head of an order as typed, checked.
#[derive(Clone, Debug)]
pub(super) struct OrderForm {
    pub(super) title: String,
    pub(super) due_on: Option<Day>,
    pub(super) note: String,
}

impl OrderForm {
    /// Reads the form. A day that has passed is refused, unless it was agreed before it passed.
    pub(super) fn read(form: &mut Form, today: Day, agreed: Option<Day>) -> Option<Self> {
        let title = form.line("title", 200);
        if title.is_empty() {
            form.wrong("title", "This is needed.");
        }
        let due_on = form.day_or_none("due_on");
        if due_on.is_some_and(|day| day < today) && due_on != agreed {
            form.wrong(
                "due_on",
                "This day has passed. Choose today or a later day, or leave it open.",
            );
        }
        let note = form.text("note", 4000);
        form.good().then_some(Self { title, due_on, note })
    }
}

/// Reads for whom a new order is.
pub(super) fn for_whom(form: &mut Form) -> Option<ForWhom> {
    let typed = form.line("new_client", 200);
    if form.value("client").is_empty() {
        if typed.is_empty() {
            form.wrong("client", "Choose a client, or write the name of a new one below.");
        }
        let email = form.line("new_email", 200);
        let phone = form.line("new_phone", 60);
        return (!typed.is_empty()).then_some(ForWhom::New { name: typed, email, phone });
    }
    if !typed.is_empty() {
        form.wrong("new_client", "A client is chosen above as well; keep one of the two.");
    }
    form.choice("client").map(ForWhom::Known)
}

/// What a line is made in, how many, and how long the finishing takes.
#[derive(Clone, Copy, Debug)]
pub(super) struct LineForm {
    pub(super) alloy: AlloyId,
    pub(super) quantity: i32,
    pub(super) finishing_minutes: i32,
}

impl LineForm {
    /// Reads the form; finishing that is left empty takes what is `usual`.
    pub(super) fn read(form: &mut Form, usual: i32) -> Option<Self> {
        let alloy = form.choice("alloy");
        let (quantity, finishing_minutes) = Self::numbers(form, usual);
        Some(Self { alloy: alloy?, quantity: quantity?, finishing_minutes: finishing_minutes? })
    }

    /// Looks at numbers that were typed though there is nothing yet that they are about.
    pub(super) fn look_at_numbers(form: &mut Form) {
        let typed = |name| !form.value(name).trim().is_empty();
        if typed("quantity") || typed("finishing_minutes") {
            if form.value("quantity").trim().is_empty() {
                form.put("quantity", "1");
            }
            Self::numbers(form, 0);
        }
    }

    fn numbers(form: &mut Form, usual: i32) -> (Option<i32>, Option<i32>) {
        let quantity = small(form.whole("quantity", 1, 10_000));
        if form.value("finishing_minutes").trim().is_empty() {
            form.put("finishing_minutes", &usual.to_string());
        }
        let typed = form.all("finishing_minutes").last().unwrap_or_default().trim().to_owned();
        let finishing_minutes = match typed.parse::<i32>() {
            Ok(minutes) if (0..=10_000).contains(&minutes) => Some(minutes),
            _ => {
                form.wrong("finishing_minutes", "Whole minutes are needed, from 0 to 10000.");
                None
            }
        };
        (quantity, finishing_minutes)
    }
}

fn small(number: Option<i64>) -> Option<i32> {
    number.and_then(|number| i32::try_from(number).ok())
}
