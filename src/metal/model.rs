//! Accounts and moves of the metal ledger. No SQL.

use crate::id::ClientId;
use crate::web::Refused;

/// Where metal can be. The first five lie outside the house.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Account {
    /// Whoever sold it.
    Supplier,
    /// A client who brought their own.
    Client(ClientId),
    /// With clients, as finished pieces.
    Delivered,
    /// Sent away to be refined.
    Refiner,
    /// What clients bear or leave with the studio, by agreement.
    Settled,
    /// New metal in stock.
    Fresh,
    /// Sprues and buttons in stock, to be melted again.
    Returns,
    /// Poured and not yet cut off.
    Cast,
    /// Cut off, being finished or ready.
    Pieces,
    /// Filings and sweeps, kept for the refiner.
    Filings,
    /// A client's own metal, in a drawer of its own.
    Own(ClientId),
    /// On its way into another alloy, or come from one.
    Melted,
    /// Gone: burnt, splashed, ground to dust.
    Loss,
    /// Differences found by counting.
    Difference,
}

impl Account {
    /// The words kept in the database, those in the house first.
    pub const KINDS: [&'static str; 14] = [
        "fresh",
        "returns",
        "cast",
        "pieces",
        "filings",
        "own",
        "supplier",
        "client",
        "delivered",
        "refiner",
        "melted",
        "settled",
        "loss",
        "difference",
    ];

    /// The word kept in the database.
    #[must_use]
    pub const fn kind(self) -> &'static str {
        match self {
            Self::Supplier => "supplier",
            Self::Client(_) => "client",
            Self::Delivered => "delivered",
            Self::Refiner => "refiner",
            Self::Settled => "settled",
            Self::Own(_) => "own",
            Self::Melted => "melted",
            Self::Fresh => "fresh",
            Self::Returns => "returns",
            Self::Cast => "cast",
            Self::Pieces => "pieces",
            Self::Filings => "filings",
            Self::Loss => "loss",
            Self::Difference => "difference",
        }
    }

    /// The account in the trade's words, from the word kept in the database.
    #[must_use]
    pub fn words(kind: &str) -> &'static str {
        match kind {
            "supplier" => "supplier",
            "client" => "client",
            "delivered" => "handed over",
            "refiner" => "refiner",
            "settled" => "settled by agreement",
            "own" => "client's own, in the drawer",
            "melted" => "melted over",
            "fresh" => "fresh metal",
            "returns" => "returns",
            "cast" => "cast, not cut off",
            "pieces" => "pieces",
            "filings" => "filings",
            "loss" => "loss",
            "difference" => "difference found",
            _ => "elsewhere",
        }
    }

    /// The client behind the account.
    #[must_use]
    pub const fn client(self) -> Option<ClientId> {
        match self {
            Self::Client(client) | Self::Own(client) => Some(client),
            _ => None,
        }
    }

    /// Whether more may be taken from it than is known to be there: outside the house nobody knows.
    #[must_use]
    pub const fn may_go_below_nothing(self) -> bool {
        !matches!(
            self,
            Self::Fresh | Self::Returns | Self::Cast | Self::Pieces | Self::Filings | Self::Own(_)
        )
    }

    /// Where that is, for a sentence.
    #[must_use]
    pub const fn place(self) -> &'static str {
        match self {
            Self::Own(_) => "the client's drawer",
            other => other.kind(),
        }
    }
}

/// What a batch of postings records.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Metal came in.
    Bought,
    /// A client brought their own.
    Received,
    /// A client took some of their own back.
    Returned,
    /// Something was agreed with a client about their metal.
    Settled,
    /// Metal was melted into another alloy.
    Melted,
    /// A flask was poured.
    Poured,
    /// A tree was cut apart.
    Divested,
    /// A piece was finished.
    Finished,
    /// A piece went to its client.
    Delivered,
    /// Filings went to the refiner, or came back.
    Refined,
    /// Stock was counted.
    Counted,
    /// A failed piece became returns.
    Scrapped,
}

impl Kind {
    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bought => "bought",
            Self::Received => "received",
            Self::Returned => "returned",
            Self::Settled => "settled",
            Self::Melted => "melted",
            Self::Poured => "poured",
            Self::Divested => "divested",
            Self::Finished => "finished",
            Self::Delivered => "delivered",
            Self::Refined => "refined",
            Self::Counted => "counted",
            Self::Scrapped => "scrapped",
        }
    }
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 12] = [
        Self::Bought,
        Self::Received,
        Self::Returned,
        Self::Settled,
        Self::Melted,
        Self::Poured,
        Self::Divested,
        Self::Finished,
        Self::Delivered,
        Self::Refined,
        Self::Counted,
        Self::Scrapped,
    ];
}

/// So much metal from one account to another; two postings that cancel out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Move {
    /// Where it leaves.
    pub from: Account,
    /// Where it arrives.
    pub to: Account,
    /// How much, in centigrams; nothing moves nothing.
    pub cg: i64,
}

impl Move {
    /// A move of so many centigrams.
    #[must_use]
    pub const fn new(from: Account, to: Account, cg: i64) -> Self {
        Self { from, to, cg }
    }
}

/// Why metal could not be moved.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MetalRefusal {
    /// More than there is.
    #[error(
        "There are only {have} g of {alloy} in {account}, and {wanted} g were to be taken. Nothing was posted; count the stock or enter what was bought."
    )]
    NotEnough {
        /// The alloy's name.
        alloy: String,
        /// The account in words.
        account: &'static str,
        /// Grams at hand.
        have: String,
        /// Grams wanted.
        wanted: String,
    },
    /// A mass below nothing.
    #[error("A mass cannot be below nothing. Nothing was posted.")]
    Negative,
}

impl From<MetalRefusal> for Refused {
    fn from(refusal: MetalRefusal) -> Self {
        Self::conflict(refusal.to_string())
    }
}

/// Centigrams as grams with two decimals, for sentences.
#[must_use]
pub(super) fn in_grams(cg: i64) -> String {
    let sign = if cg < 0 { "-" } else { "" };
    format!("{sign}{}.{:02}", cg.unsigned_abs() / 100, cg.unsigned_abs() % 100)
}
