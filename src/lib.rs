//! Pourday.
