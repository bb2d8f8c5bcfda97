//! Transient conduction in a flask: axisymmetric finite volumes, enthalpy as the unknown,
//! alternating directions.
//!
//! # Method
//! Second-order backward differences with steps of any length, split by Douglas's method (J. Soc.
//! Indust. Appl. Math. 3 (1955) 42, and Numerische Mathematik 4 (1962) 41): a sweep implicit along
//! the radius with the heat along the height as of the beginning of the step, then a sweep that
//! makes the height implicit too. Stable for every step, second order in time and space where the
//! properties are smooth. Backward differences were chosen over the trapezoidal rule of Peaceman
//! and Rachford because they damp: where a cell has boiled dry beside hot ones, the trapezoidal
//! rule rings for half an hour.
//!
//! Heat of boiling and drying enters through an enthalpy that rises in straight pieces with the
//! temperature. Each line of cells is solved by Thomas's elimination with every cell on one piece;
//! cells that leave their piece move to the next until none does, so that a line's equations are
//! solved exactly. A line that does not settle ends the calculation with a refusal.
//!
//! Lines are solved four abreast, in flat arrays made once; a step allocates nothing.

mod resistivity;
mod curves;
mod links;
mod mesh;
mod solver;
mod surface;
mod sweep;

pub(crate) use mesh::Probe;
pub(crate) use solver::{CellSection, KilnHeat, Solver};
