//! Addresses of the metal ledger; the only source of links to them.

use std::fmt;

use crate::clock::Day;
use crate::id::{AlloyId, ClientId, MetalBatchId, MetalLotId};

/// What there is, by alloy.
#[derive(Clone, Copy, Debug)]
pub struct MetalPage;

/// What the pours lost.
#[derive(Clone, Copy, Debug)]
pub struct LossesPage;

/// The form for bought metal.
#[derive(Clone, Copy, Debug)]
pub struct Buy;

/// All entries.
#[derive(Clone, Copy, Debug)]
pub struct EntriesPage;

/// One entry.
#[derive(Clone, Copy, Debug)]
pub struct EntryPage(pub MetalBatchId);

/// One alloy.
#[derive(Clone, Copy, Debug)]
pub struct OfAlloy(pub AlloyId);

impl fmt::Display for MetalPage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/metal")
    }
}

impl fmt::Display for LossesPage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/metal/losses")
    }
}

impl fmt::Display for Buy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/metal/buy")
    }
}

impl fmt::Display for EntriesPage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/metal/entries")
    }
}

/// The entries of one account of an alloy, each with what the account stood at afterwards, up to
/// the end of a day or to now.
#[derive(Clone, Copy, Debug)]
pub struct AccountEntries(pub AlloyId, pub &'static str, pub Option<Day>);

impl fmt::Display for AccountEntries {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{EntriesPage}?alloy={}&account={}", self.0, self.1)?;
        self.2.map_or(Ok(()), |day| write!(f, "&until={day}"))
    }
}

impl fmt::Display for EntryPage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/metal/entries/{}", self.0)
    }
}

impl fmt::Display for OfAlloy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/metal/alloys/{}", self.0)
    }
}

/// Clients' own metal.
#[derive(Clone, Copy, Debug)]
pub struct OwnPage;

/// The statement of one client's metal.
#[derive(Clone, Copy, Debug)]
pub struct OfClient(pub ClientId);

/// Alloying up and down.
#[derive(Clone, Copy, Debug)]
pub struct MeltPage;

impl fmt::Display for OwnPage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/metal/clients")
    }
}

impl fmt::Display for OfClient {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/metal/clients/{}", self.0)
    }
}

impl fmt::Display for MeltPage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/metal/melt")
    }
}

/// A stock take of everything.
#[derive(Clone, Copy, Debug)]
pub struct CountPage;

/// The account of a fine metal, by its symbol.
#[derive(Clone, Copy, Debug)]
pub struct FinePage<'a>(pub &'a str);

impl fmt::Display for CountPage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/metal/count")
    }
}

impl fmt::Display for FinePage<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/metal/fine/{}", self.0)
    }
}

/// One lot of metal.
#[derive(Clone, Copy, Debug)]
pub struct LotPage(pub MetalLotId);

/// Where the metal of a poured flask came from.
#[derive(Clone, Copy, Debug)]
pub struct OfFlask(pub i32);

impl fmt::Display for LotPage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/metal/lots/{}", self.0)
    }
}

impl fmt::Display for OfFlask {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/metal/flasks/{}", self.0)
    }
}
