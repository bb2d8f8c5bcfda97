//! What came to the invented studio, and what went wrong there: data, no deeds. Everything here
//! is made up; days are counted in the calendar's working days.

use foundry::shapes::Piece;

/// A line of an order: what, in which alloy, how many, minutes of finishing for one.
pub(super) type Line = (Piece, &'static str, &'static str, &'static str);

/// What day a quote names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Day {
    /// None.
    Open,
    /// The day that the price form offers.
    Offered,
    /// So many days sooner, because the client asked for it.
    Sooner(i32),
}

/// An order of the story.
pub(super) struct Ordered {
    pub(super) client: &'static str,
    pub(super) email: &'static str,
    pub(super) title: &'static str,
    /// It came so many working days ago.
    pub(super) came: i32,
    pub(super) day: Day,
    pub(super) lines: &'static [Line],
}

pub(super) const BRONZE: &str = "Silicon bronze";
pub(super) const SILVER: &str = "Sterling silver";
pub(super) const GOLD: &str = "14 ct yellow gold";
pub(super) const BRASS: &str = "Yellow brass";

const INES: &str = "Ines Calloway";
const ELM: &str = "Restoration at Elm House";
const VOSSBERG: &str = "Vossberg woodwind repairs";
const HOLT: &str = "Bertram Holt";
const MARSH: &str = "Odile and Rafe Marsh";
const PELL: &str = "Pell and daughters, outfitters";
const ANNING: &str = "Sorrel Anning";

/// The number of the first order; the others follow.
pub(super) const FIRST: i32 = 1001;

const fn order(
    client: &'static str,
    title: &'static str,
    came: i32,
    day: Day,
    lines: &'static [Line],
) -> Ordered {
    Ordered { client, email: "", title, came, day, lines }
}

/// From somebody new, with an address.
const fn first(email: &'static str, order: Ordered) -> Ordered {
    Ordered { email, ..order }
}

/// The orders in the order in which they came in.
pub(super) const ORDERS: [Ordered; 24] = [
    first(
        "ines@calloway.example",
        order(
            INES,
            "Rosette pendants for a choir",
            44,
            Day::Offered,
            &[(Piece::Pendant, SILVER, "4", "35")],
        ),
    ),
    first(
        "workshop@elmhouse.example",
        order(
            ELM,
            "Drawer knobs after the old ones",
            44,
            Day::Offered,
            &[(Piece::DrawerKnob, BRONZE, "6", "15")],
        ),
    ),
    first(
        "orders@pell.example",
        order(
            PELL,
            "Rings for bag straps",
            44,
            Day::Offered,
            &[(Piece::PlainBand, BRONZE, "24", "12")],
        ),
    ),
    first(
        "bench@vossberg.example",
        order(
            VOSSBERG,
            "Keys for a low clarinet",
            39,
            Day::Offered,
            &[(Piece::InstrumentKey, BRASS, "3", "50")],
        ),
    ),
    first(
        "b.holt@post.example",
        order(HOLT, "Cufflinks, a pair", 34, Day::Offered, &[(Piece::Cufflink, SILVER, "2", "40")]),
    ),
    first(
        "odile@marsh.example",
        order(
            MARSH,
            "Two bands, comfort fit",
            34,
            Day::Sooner(8),
            &[(Piece::ComfortBand, GOLD, "2", "45")],
        ),
    ),
    order(
        ELM,
        "Knobs for a second chest",
        29,
        Day::Offered,
        &[(Piece::DrawerKnob, BRONZE, "4", "15")],
    ),
    first(
        "sorrel@anning.example",
        order(
            ANNING,
            "Pendants, to see how they cast",
            29,
            Day::Sooner(4),
            &[(Piece::Pendant, BRONZE, "3", "25")],
        ),
    ),
    order(PELL, "A sample of coat hooks", 24, Day::Offered, &[(Piece::Hook, BRONZE, "3", "20")]),
    order(
        VOSSBERG,
        "The same keys again",
        24,
        Day::Offered,
        &[(Piece::InstrumentKey, BRASS, "3", "50")],
    ),
    order(
        INES,
        "Rosette pendants for the altos",
        19,
        Day::Offered,
        &[(Piece::Pendant, SILVER, "4", "35")],
    ),
    order(
        ELM,
        "Hinge leaves for a linen press",
        19,
        Day::Sooner(3),
        &[(Piece::HingeLeaf, BRONZE, "4", "20")],
    ),
    order(
        PELL,
        "Rings for bag straps, again",
        14,
        Day::Offered,
        &[(Piece::PlainBand, BRONZE, "12", "12")],
    ),
    order(
        HOLT,
        "Cufflinks for two brothers",
        14,
        Day::Offered,
        &[(Piece::Cufflink, SILVER, "4", "40")],
    ),
    order(
        ELM,
        "Hinge leaves for a writing desk",
        9,
        Day::Offered,
        &[(Piece::HingeLeaf, BRONZE, "4", "20")],
    ),
    order(INES, "A signet ring", 9, Day::Offered, &[(Piece::SignetRing, SILVER, "1", "70")]),
    order(PELL, "Coat hooks for the shop", 6, Day::Offered, &[(Piece::Hook, BRONZE, "5", "20")]),
    order(
        VOSSBERG,
        "Trill keys",
        6,
        Day::Sooner(2),
        &[(Piece::InstrumentKey, BRASS, "2", "50"), (Piece::PlainBand, BRASS, "2", "10")],
    ),
    order(
        HOLT,
        "Beads for a watch chain",
        5,
        Day::Offered,
        &[(Piece::LobedBead, SILVER, "6", "15")],
    ),
    order(
        ANNING,
        "Pendants, first of an edition",
        4,
        Day::Offered,
        &[(Piece::Pendant, BRONZE, "5", "25")],
    ),
    order(ELM, "Knobs, a third lot", 3, Day::Open, &[(Piece::DrawerKnob, BRONZE, "4", "15")]),
    order(MARSH, "Plain bands to stack", 3, Day::Offered, &[(Piece::PlainBand, SILVER, "3", "20")]),
    order(
        PELL,
        "Cufflinks to sell",
        2,
        Day::Offered,
        &[(Piece::Cufflink, SILVER, "8", "35"), (Piece::Cufflink, BRONZE, "8", "30")],
    ),
    order(ANNING, "A hook with leaves, to be drawn", 1, Day::Open, &[]),
];

/// The order of a number.
pub(super) fn ordered(number: i32) -> Option<&'static Ordered> {
    ORDERS.get(usize::try_from(number - FIRST).ok()?)
}

/// How a model is cast: where its sprue sits and how thick it is, in millimetres, and how high
/// metal stands above the piece where nothing else drives it.
pub(super) struct CastSo {
    pub(super) at: [&'static str; 3],
    pub(super) diameter: &'static str,
    pub(super) head: Option<&'static str>,
}

const fn by_vacuum(at: [&'static str; 3], diameter: &'static str) -> CastSo {
    CastSo { at, diameter, head: None }
}

const fn by_weight(at: [&'static str; 3], diameter: &'static str, head: &'static str) -> CastSo {
    CastSo { at, diameter, head: Some(head) }
}

/// How each model is cast here. The pendants hang by their loops, keys and bands are poured
/// without vacuum: the castings tell of both.
pub(super) const fn casting(piece: Piece) -> CastSo {
    match piece {
        Piece::Pendant => by_vacuum(["0", "18.6", "0.2"], "3"),
        Piece::DrawerKnob => by_vacuum(["0", "0", "26.4"], "8"),
        Piece::InstrumentKey => by_weight(["0", "0", "2.5"], "4", "40"),
        Piece::LobedBead => by_vacuum(["6.9", "0", "0"], "4"),
        Piece::Cufflink => by_vacuum(["0", "0", "2.7"], "5"),
        Piece::ComfortBand => by_vacuum(["10.6", "0", "0"], "3"),
        Piece::PlainBand => by_weight(["10.45", "0", "0"], "3", "18"),
        Piece::Hook => by_vacuum(["0", "-2.5", "-22"], "5"),
        Piece::HingeLeaf => by_vacuum(["20", "0", "0"], "4"),
        Piece::SignetRing => by_vacuum(["0", "0", "12.6"], "6"),
    }
}

/// Whether nothing but its own weight drives the metal into a model of this name.
pub(super) fn by_weight_alone(design: &str) -> bool {
    Piece::ALL.into_iter().any(|piece| piece.title() == design && casting(piece).head.is_some())
}

/// A piece that failed: its label, which attempt, at which stage, what it looked like.
type Mishap = (&'static str, i32, &'static str, &'static str);

const MISHAPS: [Mishap; 24] = [
    ("1001-2", 1, "finish", "shrinkage porosity"),
    ("1001-4", 1, "finish", "shrinkage porosity"),
    ("1002-5", 1, "print", "warped"),
    ("1003-3", 1, "cast", "incomplete fill"),
    ("1003-10", 1, "invest", "broken in spruing"),
    ("1003-14", 1, "cast", "incomplete fill"),
    ("1003-19", 1, "finish", "inclusions"),
    ("1003-22", 1, "finish", "rough surface"),
    ("1004-1", 1, "cast", "incomplete fill"),
    ("1004-2", 1, "print", "delaminated"),
    ("1005-1", 1, "cure", "still tacky"),
    ("1006-2", 1, "finish", "cut too deep"),
    ("1007-3", 1, "invest", "broken in cleaning up"),
    ("1008-2", 1, "burnout", "mould cracked"),
    ("1008-3", 1, "finish", "gas porosity"),
    ("1009-2", 1, "print", "came off the supports"),
    ("1010-1", 1, "cast", "incomplete fill"),
    ("1010-3", 1, "cast", "incomplete fill"),
    ("1011-1", 1, "finish", "shrinkage porosity"),
    ("1011-3", 1, "finish", "shrinkage porosity"),
    ("1012-2", 1, "cast", "fins"),
    ("1013-4", 1, "cast", "incomplete fill"),
    ("1014-2", 1, "cure", "cracked in curing"),
    ("1017-4", 1, "print", "came off the supports"),
];

/// Why an attempt failed at a stage, if it did.
pub(super) fn cause(label: &str, attempt: i32, stage: &str) -> Option<&'static str> {
    MISHAPS
        .iter()
        .find(|(of, nth, at, _)| *of == label && *nth == attempt && *at == stage)
        .map(|(.., cause)| *cause)
}

/// Something that was seen on a casting: its label, what, on which picture and where on it, and
/// whether it was mended.
pub(super) struct Seen {
    pub(super) label: &'static str,
    pub(super) what: &'static str,
    pub(super) look: &'static str,
    pub(super) at: [&'static str; 2],
    pub(super) mended: bool,
}

const fn seen(
    label: &'static str,
    what: &'static str,
    look: &'static str,
    at: [&'static str; 2],
    mended: bool,
) -> Seen {
    Seen { label, what, look, at, mended }
}

pub(super) const FINDINGS: [Seen; 7] = [
    seen("1002-3", "gas porosity", "front", ["148", "96"], true),
    seen("1004-3", "nodules", "top", ["204", "150"], true),
    seen("1007-1", "fins", "right", ["150", "236"], true),
    seen("1010-2", "watermarks", "top", ["92", "150"], true),
    seen("1011-2", "shrinkage porosity", "top", ["150", "188"], true),
    seen("1012-3", "rough surface", "corner", ["160", "140"], true),
    seen("1015-4", "watermarks", "top", ["120", "110"], false),
];

/// A photo of a piece: its label, at which stage, what stands below it, of which model, whether
/// the client sees it.
pub(super) type Photo = (&'static str, &'static str, &'static str, Piece, bool);

pub(super) const PHOTOS: [Photo; 4] = [
    ("1015-1", "print", "Off the plate, supports still to come off", Piece::HingeLeaf, false),
    ("1015-1", "finish", "The first of the four, ground and brushed", Piece::HingeLeaf, true),
    ("1016-1", "print", "Your ring in resin, as it will be cast", Piece::SignetRing, true),
    ("1016-1", "cast", "Cast, and cut from its tree", Piece::SignetRing, true),
];
