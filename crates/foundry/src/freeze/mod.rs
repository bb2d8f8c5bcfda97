//! Where and when a casting freezes, and whether its sprues feed it.
//!
//! Metal shrinks as it freezes and draws liquid from what is still liquid. A
//! section that is cut off from the sprue while liquid ends up porous. This
//! module computes heat flow in piece, sprues and mould ([`freeze`]) on voxels
//! cut from a closed mesh ([`Voxels`]).

mod advice;
mod alloys;
mod cores;
mod curve;
mod enthalpy;
mod feed;
mod freezing;
mod grid;
mod links;
mod lumps;
mod material;
mod plain;
mod pockets;
mod rays;
mod refusal;
mod shape;
mod skin;
mod sprue;
mod voxels;

pub use advice::{Advice, FeedAdvice, advise};
pub use alloys::{heat_of, known_alloys};
pub use feed::{FeedAnswer, FeedCase, OverRange, PlaceAndTime, feed, feed_with, over_range};
pub use freezing::{Freezing, MetalVoxel, Progress, Section, Watch, freeze};
pub use grid::{Grid, MOST_VOXELS};
pub use material::{Conditions, FEEDS_UNTIL_SOLID, MetalHeat, MouldHeat, Spread, Within};
pub use pockets::{Floor, Pocket, Porosity, pockets};
pub use refusal::FreezeRefusal;
pub use shape::{Part, Rod, Shape};
pub use sprue::{SPRUE_STEPS_MM, Sprue, Surface, SurfacePoint};
pub use voxels::Voxels;
