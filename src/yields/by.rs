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

    /// The group of an attempt `b`; what was chosen at steps is counted for all of them at once. What was taken off a plate before it was printed, or off a
    /// flask before it was filled, was not on it.
    pub(super) const fn group(self) -> &'static str {
        match self {
            Self::Lot => "(SELECT p.resin_lot_id::text FROM plate_pieces pp JOIN plates p ON p.id = pp.plate_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
            Self::Profile => "(SELECT p.printer_id || '|' || p.layer_um || '|' || p.exposure_s FROM plate_pieces pp JOIN plates p ON p.id = pp.plate_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
            Self::Supports => "(SELECT p.supports || CASE WHEN p.first_contact THEN ', more at first contact' ELSE '' END FROM plate_pieces pp JOIN plates p ON p.id = pp.plate_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
            Self::Orientation => "(SELECT p.orientation FROM plate_pieces pp JOIN plates p ON p.id = pp.plate_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
            Self::Medium => "(SELECT c.medium FROM cure_batch_pieces x JOIN cure_batches c ON c.id = x.cure_batch_id
                WHERE x.attempt_id = b.attempt_id AND c.state IN ('washing', 'curing', 'done')
                  AND (x.left_at IS NULL OR x.left_at >= c.ended_at) ORDER BY c.number DESC LIMIT 1)",
            Self::Sprue => "(SELECT fp.sprues || ' × ' || fp.sprue_diameter_mm || ' mm' FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
                WHERE fp.attempt_id = b.attempt_id AND f.state <> 'cancelled'
                  AND (fp.left_at IS NULL OR fp.left_at > f.mixed_at) ORDER BY f.created_at DESC LIMIT 1)",
            Self::Investment => "(SELECT f.investment_id::text FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
                WHERE fp.attempt_id = b.attempt_id AND f.state <> 'cancelled'
                  AND (fp.left_at IS NULL OR fp.left_at > f.mixed_at) ORDER BY f.created_at DESC LIMIT 1)",
            // Thirds of the kiln's floor; its door is where y begins.
            Self::Place => "(SELECT CASE WHEN lf.y_mm < k.depth_mm / 3.0 THEN 'at the door' WHEN lf.y_mm < k.depth_mm / 1.5 THEN 'in the middle' ELSE 'at the back' END
                    || CASE WHEN lf.x_mm < k.width_mm / 3.0 THEN ', left' WHEN lf.x_mm < k.width_mm / 1.5 THEN '' ELSE ', right' END
                FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id JOIN kiln_load_flasks lf ON lf.flask_id = fp.flask_id
                JOIN kiln_loads l ON l.id = lf.kiln_load_id JOIN kilns k ON k.id = l.kiln_id
                WHERE fp.attempt_id = b.attempt_id AND (fp.left_at IS NULL OR fp.left_at > f.mixed_at)
                  AND (lf.left_at IS NULL OR lf.left_at > l.started_at) AND l.started_at IS NOT NULL ORDER BY l.started_at DESC LIMIT 1)",
            Self::Season => "(ARRAY['December to February', 'March to May', 'June to August', 'September to November'])
                [(extract(month FROM b.on_day)::integer % 12) / 3 + 1]",
            Self::Step(_) => "NULL::text",
            Self::Programme => "(SELECT f.family_id::text FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
                WHERE fp.attempt_id = b.attempt_id AND f.state <> 'cancelled'
                  AND (fp.left_at IS NULL OR fp.left_at > f.mixed_at) ORDER BY f.created_at DESC LIMIT 1)",
            Self::Alloy => "(SELECT l.alloy_id::text FROM attempts t JOIN pieces p ON p.id = t.piece_id
                JOIN order_lines l ON l.id = p.order_line_id WHERE t.id = b.attempt_id)",
            Self::Kiln => "(SELECT l.kiln_id::text FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id JOIN kiln_load_flasks lf ON lf.flask_id = fp.flask_id
                JOIN kiln_loads l ON l.id = lf.kiln_load_id
                WHERE fp.attempt_id = b.attempt_id AND (fp.left_at IS NULL OR fp.left_at > f.mixed_at)
                  AND (lf.left_at IS NULL OR lf.left_at > l.started_at) AND l.started_at IS NOT NULL ORDER BY l.started_at DESC LIMIT 1)",
            Self::Person => "(SELECT e.person_id::text FROM piece_events e
                WHERE e.attempt_id = b.attempt_id AND e.person_id IS NOT NULL AND e.kind IN ('finished', 'failed') AND (b.stage = '' OR e.stage = b.stage)
                ORDER BY e.id DESC LIMIT 1)",
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
