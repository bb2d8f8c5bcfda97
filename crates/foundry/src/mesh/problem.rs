//! What can be wrong with a model, in words.

use super::{Bounds, Point};

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Gravity {
    /// Good to know; the numbers stand.
    Note,
    /// The numbers stand, but the model should be looked at before it is printed.
    Doubtful,
    /// There is no volume, so no mass, price or plan, until this is repaired.
    Blocking,
}

/// A kind of finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum ProblemKind {
    /// The surface has holes.
    OpenEdges,
    /// The surface has holes so small that the volume is known well enough.
    TinyHoles,
    /// Facets disagree about which side is outside, and this can be set right.
    FlippedFacets,
    /// Facets disagree about which side is outside, and no turning sets it right.
    NotOrientable,
    /// The whole surface is inside out.
    InsideOut,
    /// More than two facets meet at an edge.
    CrowdedEdges,
    /// Facets lie on top of each other.
    DoubledFacets,
    /// Facets without area.
    DegenerateFacets,
    /// Very narrow facets.
    Slivers,
    /// Shells cut through each other.
    OverlappingShells,
    /// Shells cut through each other in too many places to tell what they enclose.
    TooTangled,
    /// A solid inside another solid.
    NestedSolid,
    /// A closed hollow.
    EnclosedVoid,
    /// Closed surfaces that enclose nothing.
    FlatShells,
    /// So many shells that they are not told apart.
    TooManyShells,
    /// Several separate bodies.
    SeparateBodies,
}

impl ProblemKind {
    /// A short name for programs.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::OpenEdges => "open_edges",
            Self::TinyHoles => "tiny_holes",
            Self::FlippedFacets => "flipped_facets",
            Self::NotOrientable => "not_orientable",
            Self::InsideOut => "inside_out",
            Self::CrowdedEdges => "crowded_edges",
            Self::DoubledFacets => "doubled_facets",
            Self::DegenerateFacets => "degenerate_facets",
            Self::Slivers => "slivers",
            Self::OverlappingShells => "overlapping_shells",
            Self::TooTangled => "too_tangled",
            Self::NestedSolid => "nested_solid",
            Self::EnclosedVoid => "enclosed_void",
            Self::FlatShells => "flat_shells",
            Self::TooManyShells => "too_many_shells",
            Self::SeparateBodies => "separate_bodies",
        }
    }

    /// How much it matters.
    #[must_use]
    pub const fn gravity(self) -> Gravity {
        match self {
            Self::OpenEdges | Self::NotOrientable | Self::TooTangled => Gravity::Blocking,
            Self::TinyHoles
            | Self::FlippedFacets
            | Self::InsideOut
            | Self::CrowdedEdges
            | Self::DoubledFacets
            | Self::OverlappingShells
            | Self::NestedSolid
            | Self::EnclosedVoid
            | Self::FlatShells
            | Self::TooManyShells => Gravity::Doubtful,
            Self::DegenerateFacets | Self::Slivers | Self::SeparateBodies => Gravity::Note,
        }
    }

    /// What it means for the piece.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::OpenEdges => {
                "The surface has holes: it encloses nothing, so it has no volume and cannot be printed reliably."
            }
            Self::TinyHoles => {
                "The surface has small cracks. The volume is given with the error they can cause."
            }
            Self::FlippedFacets => {
                "Some facets face inwards. They were turned for the measurement; slicing programs may leave gaps there."
            }
            Self::NotOrientable => {
                "Facets disagree about which side is outside and no turning sets it right: there is no inside, so no volume."
            }
            Self::InsideOut => {
                "The surface is inside out. It was turned for the measurement; a slicing program may see a hollow instead of a solid."
            }
            Self::CrowdedEdges => {
                "More than two facets meet at an edge: bodies touch along a line or the surface runs through itself."
            }
            Self::DoubledFacets => "Facets lie exactly on top of each other.",
            Self::DegenerateFacets => "Facets have no area. They do not change the numbers.",
            Self::Slivers => {
                "Facets are more than a thousand times longer than wide. They do not change the numbers, but renderers and repairs may stumble over them."
            }
            Self::OverlappingShells => {
                "Bodies cut through each other. The volume is that of their union: what they share counts once. The area still counts what lies inside."
            }
            Self::TooTangled => {
                "Bodies cut through each other in tens of millions of places; what they enclose cannot be told."
            }
            Self::NestedSolid => {
                "A solid lies inside another solid. It was counted once; if a hollow was meant, its surface faces the wrong way."
            }
            Self::EnclosedVoid => {
                "The piece has a closed hollow. Liquid resin stays trapped in it, and investment cannot fill it: it would be cast solid or fail."
            }
            Self::FlatShells => "A closed surface encloses nothing, like a sheet folded flat.",
            Self::TooManyShells => {
                "The surface falls into thousands of parts. Whether they overlap was not examined; the volume is their sum."
            }
            Self::SeparateBodies => "The model consists of separate bodies.",
        }
    }

    /// What to do about it.
    #[must_use]
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::OpenEdges => {
                "Close the surface in the drawing program (a solid instead of surfaces), or try the repair."
            }
            Self::TinyHoles => "Repair the model before printing it.",
            Self::FlippedFacets | Self::InsideOut => "Repair turns them; check the picture.",
            Self::NotOrientable => "Rebuild the surface as a solid in the drawing program.",
            Self::CrowdedEdges => "Let the bodies overlap a little, or unite them.",
            Self::DoubledFacets => "Repair takes the doubles out.",
            Self::DegenerateFacets | Self::Slivers => "Nothing, or repair.",
            Self::OverlappingShells => {
                "Nothing for the weight; unite the bodies before printing if the slicing program leaves gaps."
            }
            Self::TooTangled => "Unite the bodies in the drawing program.",
            Self::NestedSolid => "Remove the inner body, or turn its surface to make a hollow.",
            Self::EnclosedVoid => "Open it with drain holes, or fill it.",
            Self::FlatShells => "Give it a thickness or remove it.",
            Self::TooManyShells => {
                "Try the repair, which welds nearby points, or unite the bodies."
            }
            Self::SeparateBodies => "Nothing, if they are meant to be separate pieces.",
        }
    }
}

/// Where something was found, in millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spot {
    /// At a point.
    At(Point),
    /// Inside a box.
    Within(Bounds),
}

/// A finding about a model.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// What kind of finding.
    pub kind: ProblemKind,
    /// How many of them: holes, edges, facets or shells.
    pub count: usize,
    /// Where: the only one, the first, or a box around all.
    pub spot: Spot,
}

impl Problem {
    /// A finding about some points; `None` when there are none.
    pub(crate) fn around(
        kind: ProblemKind,
        count: usize,
        points: impl Iterator<Item = Point>,
    ) -> Option<Self> {
        let mut bounds = Bounds::EMPTY;
        points.for_each(|point| bounds.include(point));
        let found = count > 0 && bounds.least[0] <= bounds.greatest[0];
        let spot =
            if bounds.diagonal() > 0.0 { Spot::Within(bounds) } else { Spot::At(bounds.least) };
        found.then_some(Self { kind, count, spot })
    }

    /// What it means and what to do, in two sentences or three.
    #[must_use]
    pub fn advice(&self) -> String {
        format!("{} {}", self.kind.meaning(), self.kind.remedy())
    }
}
