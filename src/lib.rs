//! Pourday.

pub mod db;
pub mod json;
