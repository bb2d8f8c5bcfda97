//! Metal: where every centigram is. A ledger in double entry that always balances.

mod ledger;
mod model;

pub use ledger::{Entry, Stock, balances, post, reverse};
pub use model::{Account, Kind, MetalRefusal, Move};
