//! Addresses of the studio's own pages; the only source of links to them.

use std::fmt;

/// The way to everything that is set once.
#[derive(Clone, Copy, Debug)]
pub struct StudioIndex;

/// The settings.
#[derive(Clone, Copy, Debug)]
pub struct StudioSettings;

/// Working hours and closed days.
#[derive(Clone, Copy, Debug)]
pub struct Hours;

/// Where closed days are added, and opened again below.
#[derive(Clone, Copy, Debug)]
pub struct ClosedDays;

impl fmt::Display for StudioIndex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/studio")
    }
}

impl fmt::Display for StudioSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/studio/settings")
    }
}

impl fmt::Display for Hours {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/studio/hours")
    }
}

impl fmt::Display for ClosedDays {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/studio/closed-days")
    }
}
