//! Addresses of clients' pages; the only source of links to them.

use std::fmt;

use crate::id::ClientId;

/// The list.
#[derive(Clone, Copy, Debug)]
pub struct Clients;

/// The form for a new one.
#[derive(Clone, Copy, Debug)]
pub struct NewClient;

/// One client.
#[derive(Clone, Copy, Debug)]
pub struct Client(pub ClientId);

impl fmt::Display for Clients {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/clients")
    }
}

impl fmt::Display for NewClient {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/clients/new")
    }
}

impl fmt::Display for Client {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/clients/{}", self.0)
    }
}
