//! By what pieces are told apart, and where that stands.

/// By what pieces are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum By {
    Lot,
    Profile,
    Supports,
    Programme,
    Alloy,
    Kiln,
    Person,
}

impl By {
    pub(super) const ALL: [Self; 7] = [
        Self::Lot,
        Self::Profile,
        Self::Supports,
        Self::Programme,
        Self::Alloy,
        Self::Kiln,
        Self::Person,
    ];

    /// The word in addresses and in the counts.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Lot => "lot",
            Self::Profile => "profile",
            Self::Supports => "supports",
            Self::Programme => "programme",
            Self::Alloy => "alloy",
            Self::Kiln => "kiln",
            Self::Person => "person",
        }
    }

    /// The words on the page.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Lot => "Resin lot",
            Self::Profile => "Printer and profile",
            Self::Supports => "Supports",
            Self::Programme => "Burnout programme",
            Self::Alloy => "Alloy",
            Self::Kiln => "Kiln",
            Self::Person => "Who recorded it",
        }
    }

    /// The group of an attempt `b`. What was taken off a plate before it was printed, or off a
    /// flask before it was filled, was not on it.
    pub(super) const fn group(self) -> &'static str {
        match self {
            Self::Lot => "(SELECT p.resin_lot_id::text FROM plate_pieces pp JOIN plates p ON p.id = pp.plate_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
            Self::Profile => "(SELECT p.printer_id || '|' || p.layer_um || '|' || p.exposure_s FROM plate_pieces pp JOIN plates p ON p.id = pp.plate_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
            Self::Supports => "(SELECT p.supports FROM plate_pieces pp JOIN plates p ON p.id = pp.plate_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
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

    /// What the group `k` is called today.
    pub(super) const fn called(self) -> &'static str {
        match self {
            Self::Lot => "(SELECT r.name || ', lot ' || l.lot FROM resin_lots l JOIN resins r ON r.id = l.resin_id WHERE l.id = k::uuid)",
            Self::Profile => "(SELECT m.name || ', ' || split_part(k, '|', 2) || ' µm, ' || split_part(k, '|', 3) || ' s'
                FROM printers m WHERE m.id = split_part(k, '|', 1)::uuid)",
            Self::Supports => "k",
            Self::Programme => "(SELECT name FROM burnout_families WHERE id = k::uuid)",
            Self::Alloy => "(SELECT name FROM alloys WHERE id = k::uuid)",
            Self::Kiln => "(SELECT name FROM kilns WHERE id = k::uuid)",
            Self::Person => "(SELECT name FROM people WHERE id = k::uuid)",
        }
    }
}
