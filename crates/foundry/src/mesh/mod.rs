//! Models of pieces as surfaces of triangles: reading, judging, measuring.
//!
//! A model comes as STL, OBJ, 3MF or PLY ([`read()`]), in a unit that the file seldom
//! states ([`guess_unit`]).

mod bodies;
mod bore;
pub mod bvh;
mod coarse;
mod contact;
mod fragment;
mod indexed;
mod measure;
mod obj;
mod nesting;
mod outline;
mod places;
mod ply;
mod polygon;
mod problem;
mod read;
pub mod render;
mod repair;
mod shells;
mod stl;
mod sum;
mod thickness;
mod threemf;
mod topology;
mod union;
mod unit;
pub(crate) mod vec3;
mod weld;
mod winding;
pub mod write;
mod zip;

pub use bodies::bodies;
pub use bore::{Bore, bore};
pub use coarse::{Coarse, coarse};
pub use indexed::{Bounds, LARGEST_COORDINATE, Mesh, MeshRefusal};
pub use measure::{Measure, MeasureRefusal, Shell, measure, measure_mesh};
pub use outline::silhouette_xy;
pub use problem::{Gravity, Problem, ProblemKind, Spot};
pub use read::{Format, Limits, ModelFile, Place, ReadRefusal, read, read_from, read_within};
pub use repair::{Change, RepairOptions, Repaired, repair};
pub use shells::Role;
pub use thickness::{
    FeltSoFar, Thickness, ThicknessOptions, ThicknessRefusal, ThinPlace, gaps, gaps_watched,
    thickness, thickness_watched,
};
pub use union::{Union, UnionRefusal, union};
pub use unit::{Certainty, Unit, UnitGuess, guess_unit};

/// A point or a vector: x, y, z.
pub type Point = [f64; 3];
