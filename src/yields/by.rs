//! By what pieces are told apart, and where that stands.

use crate::steps::{self, Choice};

/// By what pieces are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum By {
    Lot,
    Profile,
    Supports,
    Orientation,
    Medium,
    Sprue,
    Investment,
    Programme,
    Alloy,
    Kiln,
    Place,
    Person,
    Season,
    /// Something that was chosen at a step of the bench.
    Step(Choice),
}

impl By {
    /// What every piece has of itself and its batches.
    pub(super) const OF_BATCHES: [Self; 13] = [
        Self::Lot,
        Self::Profile,
        Self::Supports,
        Self::Orientation,
        Self::Medium,
        Self::Sprue,
        Self::Investment,
        Self::Programme,
        Self::Alloy,
        Self::Kiln,
        Self::Place,
        Self::Person,
        Self::Season,
    ];

    /// All of them, with what may be chosen at the steps of the bench.
    pub(super) fn all() -> impl Iterator<Item = Self> {
        Self::OF_BATCHES.into_iter().chain(steps::choices().map(Self::Step))
    }

    /// The word in addresses and in the counts.
    pub(super) fn name(self) -> String {
        let name = match self {
            Self::Orientation => "orientation",
            Self::Medium => "medium",
            Self::Sprue => "sprue",
            Self::Investment => "investment",
            Self::Place => "place",
            Self::Season => "season",
            Self::Step(choice) => return choice.name(),
            Self::Lot => "lot",
            Self::Profile => "profile",
            Self::Supports => "supports",
            Self::Programme => "programme",
            Self::Alloy => "alloy",
            Self::Kiln => "kiln",
            Self::Person => "person",
        };
        name.to_owned()
    }

    /// The words on the page.
    pub(super) fn words(self) -> String {
        let words = match self {
            Self::Orientation => "How pieces lie in print",
            Self::Medium => "Medium of the cure",
            Self::Sprue => "Sprues",
            Self::Investment => "Investment",
            Self::Place => "Place in the kiln",
            Self::Season => "Season",
            Self::Step(choice) => return choice.words(),
            Self::Lot => "Resin lot",
            Self::Profile => "Printer and profile",
            Self::Supports => "Supports",
            Self::Programme => "Burnout programme",
            Self::Alloy => "Alloy",
            Self::Kiln => "Kiln",
            Self::Person => "Who recorded it",
        };
        words.to_owned()
    }

    /// The group of an attempt, from the batches it was in (`BATCHES` of `store.rs`); of a day's
    /// record `b` where [`Self::is_of_attempt`] says no. What was chosen at steps is counted for
    /// all of them at once.
    pub(super) const fn group(self) -> &'static str {
        match self {
            Self::Lot => "plate.resin_lot_id::text",
            Self::Profile => "plate.printer_id || '|' || plate.layer_um || '|' || plate.exposure_s",
            Self::Supports => {
                "plate.supports || CASE WHEN plate.first_contact THEN ', more at first contact' ELSE '' END"
            }
            Self::Orientation => "plate.orientation",
            Self::Medium => "cure.medium",
            Self::Sprue => "flask.sprues || ' × ' || flask.sprue_diameter_mm || ' mm'",
            Self::Investment => "flask.investment_id::text",
            Self::Programme => "flask.family_id::text",
            // Thirds of the kiln's floor; its door is where y begins.
            Self::Place => {
                "CASE WHEN load.y_mm < load.depth_mm / 3.0 THEN 'at the door' WHEN load.y_mm < load.depth_mm / 1.5 THEN 'in the middle'
                      WHEN load.y_mm IS NOT NULL THEN 'at the back' END
                    || CASE WHEN load.x_mm < load.width_mm / 3.0 THEN ', left' WHEN load.x_mm < load.width_mm / 1.5 THEN '' ELSE ', right' END"
            }
            Self::Kiln => "load.kiln_id::text",
            Self::Alloy => {
                "(SELECT l.alloy_id::text FROM attempts t JOIN pieces p ON p.id = t.piece_id
                JOIN order_lines l ON l.id = p.order_line_id WHERE t.id = b.attempt_id)"
            }
            Self::Season => {
                "(ARRAY['December to February', 'March to May', 'June to August', 'September to November'])
                [(extract(month FROM b.on_day)::integer % 12) / 3 + 1]"
            }
            Self::Person => {
                "(SELECT e.person_id::text FROM piece_events e
                WHERE e.attempt_id = b.attempt_id AND e.person_id IS NOT NULL AND e.kind IN ('finished', 'failed') AND (b.stage = '' OR e.stage = b.stage)
                ORDER BY e.id DESC LIMIT 1)"
            }
            Self::Step(_) => "NULL::text",
        }
    }

    /// Whether an attempt is in the same group at every stage and on every day.
    pub(super) const fn is_of_attempt(self) -> bool {
        !matches!(self, Self::Person | Self::Season)
    }

    /// What the group `k` is called today.
    pub(super) const fn called(self) -> &'static str {
        match self {
            Self::Lot => "(SELECT r.name || ', lot ' || l.lot FROM resin_lots l JOIN resins r ON r.id = l.resin_id WHERE l.id = k::uuid)",
            Self::Profile => "(SELECT m.name || ', ' || split_part(k, '|', 2) || ' µm, ' || split_part(k, '|', 3) || ' s'
                FROM printers m WHERE m.id = split_part(k, '|', 1)::uuid)",
            Self::Supports | Self::Orientation | Self::Medium | Self::Sprue | Self::Place | Self::Season | Self::Step(_) => "k",
            Self::Investment => "(SELECT name FROM investments WHERE id = k::uuid)",
            Self::Programme => "(SELECT name FROM burnout_families WHERE id = k::uuid)",
            Self::Alloy => "(SELECT name FROM alloys WHERE id = k::uuid)",
            Self::Kiln => "(SELECT name FROM kilns WHERE id = k::uuid)",
            Self::Person => "(SELECT name FROM people WHERE id = k::uuid)",
        }
    }
}
