//! Pourday.

<<<<<<< HEAD
pub mod db;
=======
pub mod json;
>>>>>>> 9b6efa0 (Planning: problem, judge, floor, first plans and their JSON)
