//! Pages of people and signing in.

pub(super) mod first_owner;
pub(super) mod list;
pub(super) mod own_password;
pub(super) mod sign_in;
