//! The kinds of letters, what each may name, and what it says unless the studio wrote its own.

/// A kind of letter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Kind {
    /// The word in addresses and in the database.
    pub(super) name: &'static str,
    /// What it is called.
    pub(super) title: &'static str,
    /// When it is written.
    pub(super) when: &'static str,
    /// Names that its template may use, each with an example for the preview.
    pub(super) names: &'static [(&'static str, &'static str)],
    pub(super) subject: &'static str,
    pub(super) body: &'static str,
    /// Whether it carries the invoice.
    pub(super) with_invoice: bool,
}

const CLIENT: (&str, &str) = ("client", "Ada Quill");
const STUDIO: (&str, &str) = ("studio", "Harrow Lane Castings");
const ORDER: (&str, &str) = ("order", "1001");
const TITLE: (&str, &str) = ("title", "Drawer knobs");
const LINK: (&str, &str) = ("link", "https://studio.example/c/0198…");
const NUMBER: (&str, &str) = ("number", "12");
const TOTAL: (&str, &str) = ("total", "323.99 EUR");
const OPEN: (&str, &str) = ("open", "161.99 EUR");
const DUE: (&str, &str) = ("due", "9 Dec 2026");

/// All kinds.
pub(super) const KINDS: [Kind; 6] = [
    Kind {
        name: "quote",
        title: "Quote",
        when: "when a quote has been sent",
        names: &[CLIENT, STUDIO, ORDER, TITLE, TOTAL, ("valid_until", "9 Dec 2026"), LINK],
        subject: "Your quote for {title}",
        body: "Dear {client},\n\nhere is the price for {title}: {total}. It holds until {valid_until}.\n\nYou can read it line by line, ask about it, and say yes on your own page:\n{link}\n\nWith kind regards\n{studio}\n",
        with_invoice: false,
    },
    Kind {
        name: "invoice",
        title: "Invoice",
        when: "when an invoice has been issued",
        names: &[CLIENT, STUDIO, NUMBER, TOTAL, OPEN, DUE],
        subject: "Invoice {number}",
        body: "Dear {client},\n\nyou find invoice {number} over {total} with this letter. Please pay it by {due}.\n\nWith kind regards\n{studio}\n",
        with_invoice: true,
    },
    Kind {
        name: "credit_note",
        title: "Credit note",
        when: "when a credit note has been issued",
        names: &[CLIENT, STUDIO, NUMBER, TOTAL],
        subject: "Credit note {number}",
        body: "Dear {client},\n\nyou find credit note {number} over {total} with this letter.\n\nWith kind regards\n{studio}\n",
        with_invoice: true,
    },
    Kind {
        name: "reminder",
        title: "Reminder",
        when: "when an invoice is overdue",
        names: &[CLIENT, STUDIO, NUMBER, TOTAL, OPEN, DUE],
        subject: "Invoice {number} is open",
        body: "Dear {client},\n\ninvoice {number} was due on {due}; {open} of it is still open. Perhaps it slipped through: you find it once more with this letter. If you have paid meanwhile, thank you.\n\nWith kind regards\n{studio}\n",
        with_invoice: true,
    },
    Kind {
        name: "ready",
        title: "Ready",
        when: "when an order is ready",
        names: &[CLIENT, STUDIO, ORDER, TITLE, LINK],
        subject: "{title} is ready",
        body: "Dear {client},\n\n{title} is ready for you. Tell us when it suits you to fetch it.\n\nYour page: {link}\n\nWith kind regards\n{studio}\n",
        with_invoice: false,
    },
    Kind {
        name: "free",
        title: "Letter",
        when: "for anything else about an order",
        names: &[CLIENT, STUDIO, ORDER, TITLE, LINK],
        subject: "{title}",
        body: "Dear {client},\n\n\n\nYour page: {link}\n\nWith kind regards\n{studio}\n",
        with_invoice: false,
    },
];

impl Kind {
    pub(super) fn named(name: &str) -> Option<&'static Self> {
        KINDS.iter().find(|kind| kind.name == name)
    }

    /// The names that its template may use.
    pub(super) fn known(&self) -> Vec<&'static str> {
        self.names.iter().map(|(name, _)| *name).collect()
    }

    /// What a name stands for in the preview.
    pub(super) fn example(&self, name: &str) -> &'static str {
        self.names.iter().find(|(known, _)| *known == name).map_or("", |(_, example)| example)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::letters::template::fill;

    #[test]
    fn the_templates_of_the_house_can_be_filled() {
        for kind in KINDS {
            for text in [kind.subject, kind.body] {
                let filled = fill(text, &kind.known(), |name| kind.example(name));
                assert!(filled.is_ok_and(|text| !text.contains('{')), "{}", kind.name);
            }
        }
    }
}
