//! Where an order stands.

use std::fmt;

/// From the first question to the finished piece in the client's hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum OrderState {
    /// Somebody asked.
    Enquiry,
    /// A quote was sent.
    Quoted,
    /// The client said yes; pieces are being made.
    Agreed,
    /// Every piece is ready.
    Ready,
    /// The client has it.
    HandedOver,
    /// It will not be made.
    Cancelled,
}

impl OrderState {
    /// All of them, in order.
    pub const ALL: [Self; 6] =
        [Self::Enquiry, Self::Quoted, Self::Agreed, Self::Ready, Self::HandedOver, Self::Cancelled];

    /// The word in addresses and in the database.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Enquiry => "enquiry",
            Self::Quoted => "quoted",
            Self::Agreed => "agreed",
            Self::Ready => "ready",
            Self::HandedOver => "handed_over",
            Self::Cancelled => "cancelled",
        }
    }

    /// Whether its lines may still change.
    #[must_use]
    pub const fn is_open_to_change(self) -> bool {
        matches!(self, Self::Enquiry | Self::Quoted)
    }

    /// Whether nothing more will happen to it.
    #[must_use]
    pub const fn is_closed(self) -> bool {
        matches!(self, Self::HandedOver | Self::Cancelled)
    }

    /// Whether its pieces exist.
    #[must_use]
    pub const fn has_pieces(self) -> bool {
        matches!(self, Self::Agreed | Self::Ready | Self::HandedOver)
    }
}

impl fmt::Display for OrderState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::HandedOver => "handed over",
            other => other.name(),
        })
    }
}
