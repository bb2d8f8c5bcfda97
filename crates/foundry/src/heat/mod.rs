//! Burnout: programmes, heat in the flask, and what the kiln can do.
//!
//! A [`Programme`] is what the controller is told. [`simulate`] runs it on a [`FlaskBody`] in a
//! [`Kiln`] and gives the curves of kiln, wall and core as a [`Burnout`].

mod body;
mod build;
mod burnout;
mod check;
mod cooling;
pub mod curve;
mod conduction;
mod drive;
mod finding;
mod limits;
mod material;
mod power;
mod programme;
mod refusal;
mod section;
mod shortest;
mod tariff;
mod verdict;

pub use body::{Base, Convection, FlaskBody, Grid, SteelWall, Surface, TreeCavity};
pub use build::BuildTargets;
pub use burnout::{Burnout, Sample, simulate};
pub use check::check;
pub use cooling::{Cooling, CoolingSample, OutOfKiln, cool};
pub use finding::{Concern, Finding, Severity};
pub use limits::{Binder, Limits, PatternFamily, RampZone, published_top_hold};
pub use material::{GypsumMix, InvestmentHeat, Reaction};
pub use power::{Behind, Kiln, PoweredKiln};
pub use programme::{COLDEST, HOTTEST, KelvinsPerHour, Knot, Pace, Programme, Segment};
pub use refusal::HeatRefusal;
pub use section::{Section, section_at};
pub use shortest::{Shortest, shortest_safe};
pub use tariff::{MINUTES_OF_WEEK, Tariff, TariffBand, cost};
pub use verdict::{Passage, Verdict, judge};
