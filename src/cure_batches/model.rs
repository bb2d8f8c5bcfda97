//! How a cure batch stands.

/// How a cure batch stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub(super) enum CureState {
    Open,
    Washing,
    Curing,
    Done,
    Cancelled,
}

impl CureState {
    /// Where it stands, as the end of a sentence that begins with its number.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Open => "is ready to begin",
            Self::Washing => "is being washed",
            Self::Curing => "is curing",
            Self::Done => "is done",
            Self::Cancelled => "is cancelled",
        }
    }

    /// The word in lists.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Open => "to begin",
            Self::Washing => "washing",
            Self::Curing => "curing",
            Self::Done => "done",
            Self::Cancelled => "cancelled",
        }
    }

    /// What is said to take its last step back; none when there is nothing to take back.
    pub(super) const fn taken_back(self) -> Option<&'static str> {
        match self {
            Self::Washing => Some("Take back the start"),
            Self::Curing => Some("Take back, the cure has not begun"),
            Self::Done => Some("Take back, it is not cured"),
            Self::Open | Self::Cancelled => None,
        }
    }

    /// Whether its pieces are in hand.
    pub(super) const fn is_under_way(self) -> bool {
        matches!(self, Self::Washing | Self::Curing)
    }
}

/// What patterns lie in while they cure.
pub(super) const MEDIA: [(&str, &str); 3] = [
    ("air", "Air"),
    ("water", "Water, which keeps air off"),
    ("glycerin", "Glycerin, which keeps air off"),
];

/// The clock of the first step.
pub(super) const WASH: &str = "Wash";

/// The clock of the second step.
pub(super) const CURE: &str = "Cure";
