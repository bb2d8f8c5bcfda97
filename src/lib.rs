//! Pourday.

pub mod db;
