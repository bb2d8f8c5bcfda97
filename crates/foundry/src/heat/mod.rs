//! Burnout: programmes, heat in the flask, and what the kiln can do.
//!
//! A [`Programme`] is what the controller is told. [`simulate`] runs it on a [`FlaskBody`] in a
//! [`Kiln`] and gives the curves of kiln, wall and core as a [`Burnout`].

mod body;
mod burnout;
mod conduction;
mod drive;
mod material;
mod power;
mod programme;
mod refusal;

pub use body::{Base, Convection, FlaskBody, Grid, SteelWall, Surface, TreeCavity};
pub use burnout::{Burnout, Sample, simulate};
pub use material::{GypsumMix, InvestmentHeat, Reaction};
pub use power::{Behind, Kiln, PoweredKiln};
pub use programme::{COLDEST, HOTTEST, KelvinsPerHour, Knot, Pace, Programme, Segment};
pub use refusal::HeatRefusal;
