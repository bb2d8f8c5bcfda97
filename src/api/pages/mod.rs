//! The owner's page of tokens and webhooks.

pub(super) mod tokens;
pub(super) mod webhooks;
