//! Packing by true shapes: pieces on printer's plates, and pieces on trees in flasks.
//!
//! [`pack_plates()`] sets outlines on plates, [`pack_flasks()`] hangs shapes on sprues;
//! [`judge_plate()`] and [`judge_tree()`] check what came out from the models alone and share no code
//! with them.

mod attach;
mod cover;
mod depth;
mod fewest;
mod fill;
mod flask;
mod flasks;
mod judge;
mod judge_tree;
mod layout;
mod mask;
mod plates;
mod raster;
mod refusal;
mod room;
mod stance;
mod tree_map;

pub use attach::{Attach, Attachment, attachment};
pub use flask::{
    Channels, FlaskKind, Heavy, NoFlask, OnTree, PackedFlasks, Rod, Sprue, ToTree, TreeRules, Treed,
};
pub use flasks::{Pattern, pack_flasks};
pub use judge::{PlateFault, judge_plate};
pub use judge_tree::{TreeFault, judge_tree};
pub use plates::{
    Face, NoPlate, OnPlate, PackedPlate, PackedPlates, Plate, PlateOptions, ToPrint, Up,
    outline_on_plate, pack_plates,
};
pub use refusal::PackRefusal;
pub use tree_map::{TreeOutline, tree_outline};
