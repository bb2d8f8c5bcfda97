//! An id type for each kind of thing, so that one cannot be taken for another.

/// Defines a new type around a time-ordered UUID.
macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, sqlx::Type, serde::Serialize, serde::Deserialize)]
        #[sqlx(transparent)]
        #[serde(transparent)]
        pub struct $name(pub uuid::Uuid);

        impl $name {
            /// A new one, later in order than those made before.
            #[must_use]
            #[expect(clippy::new_without_default, reason = "an id is never a default")]
            pub fn new() -> Self {
                Self(uuid::Uuid::now_v7())
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }

        impl std::str::FromStr for $name {
            type Err = uuid::Error;
            fn from_str(text: &str) -> Result<Self, uuid::Error> {
                text.parse().map(Self)
            }
        }
    )+};
}

ids! {
    /// Somebody who signs in.
    PersonId,
    /// A stored file.
    FileId,
    /// A piece of heavy work.
    JobId,
    /// A running clock.
    TimerId,
    /// Somebody the studio works for.
    ClientId,
    /// A casting alloy.
    AlloyId,
    /// A castable resin.
    ResinId,
    /// An opened bottle of resin.
    ResinLotId,
    /// A printer.
    PrinterId,
    /// How a printer is set for a kind of work.
    ProfileId,
    /// An investment powder.
    InvestmentId,
    /// A kind of steel flask.
    FlaskTypeId,
    /// A programme family.
    FamilyId,
    /// A kiln.
    KilnId,
    /// Hours in which a kiln is out of use.
    OutageId,
    /// A noted price.
    PriceId,
    /// Work charged by the hour.
    TaskId,
    /// A tax.
    TaxId,
    /// A class of clients.
    ClassId,
    /// A design.
    DesignId,
    /// One version of a design's model.
    DesignVersionId,
    /// An order.
    OrderId,
    /// A line of an order.
    OrderLineId,
    /// A version of an order's price.
    QuoteId,
    /// A client's private link.
    LinkId,
    /// A piece to be made.
    PieceId,
    /// One attempt at making a piece.
    AttemptId,
    /// A picture of a piece.
    PhotoId,
    /// One run of a printer.
    PlateId,
    /// Pieces washed and cured together.
    CureBatchId,
    /// A filled flask.
    FlaskId,
    /// Days on which somebody is away.
    AbsenceId,
    /// A plan of loads and pours.
    PlanId,
    /// A private address of the plan for calendars.
    FeedId,
    /// A day promised to a client.
    PromiseId,
    /// One firing of a kiln.
    KilnLoadId,
    /// A log of a kiln's controller.
    KilnLogId,
    /// A kiln's power and loss as a firing showed them.
    KilnFitId,
    /// A pour.
    PourId,
    /// The record of a piece's finishing.
    FinishingId,
    /// An account of the metal ledger.
    MetalAccountId,
    /// A batch of postings of the metal ledger.
    MetalBatchId,
    /// Bought metal.
    MetalLotId,
    /// An invoice or a credit note.
    InvoiceId,
    /// An entry of a client's account.
    EntryId,
    /// Something to be sent.
    MessageId,
}
