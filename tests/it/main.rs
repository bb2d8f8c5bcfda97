//! The integration tests, in one binary so that they share one throw-away database server.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]

mod cli_heat;
mod cli_measure;
mod cli_models;
mod cli_pack;
mod clients;
mod cure_batches;
mod api;
mod client_page;
mod exports;
mod finishing;
mod invoices;
mod letters;
mod paper;
mod inside_flask;
mod kiln_logs;
mod jobs;
mod pieces;
mod plates;
mod proposals;
mod printers;
mod analysis;
mod designs;
mod metal;
mod own_metal;
mod now;
mod prices;
mod promises;
mod studio;
mod orders;
mod plan;
mod portal;
mod quotes;
mod browser;
mod support;
mod steps;
mod tickets;
mod timers;
mod trials;
mod yields;

mod backup;
mod connect;
mod migrate;
mod own_server;
