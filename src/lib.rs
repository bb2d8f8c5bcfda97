//! Pourday carries the orders of a small casting studio through print, cure,
//! invest, burnout, cast and finish.
//!
//! The modules stand in reading order: each uses only those before it.

pub mod clock;
pub mod id;
pub mod json;
pub mod db;
pub mod web;
pub mod paper;
pub mod audit;
pub mod studio;
pub mod people;
pub mod files;
pub mod jobs;
pub mod timers;
pub mod printers;
pub mod pieces;
pub mod steps;
pub mod findings;
pub mod trials;
pub mod plates;
pub mod cure_batches;
pub mod metal;
pub mod clients;
pub mod settings;
pub mod tariffs;
pub mod kilns;
pub mod catalogue;
pub mod prices;
pub mod analysis;
pub mod designs;
pub mod known;
pub mod finishing;
pub mod flasks;
pub mod kiln_logs;
pub mod kiln_loads;
pub mod plan;
pub mod promises;
pub mod orders;
pub mod quotes;
pub mod invoices;
pub mod letters;
pub mod exports;
pub mod api;
pub mod portal;
pub mod pours;
pub mod tickets;
pub mod route_cards;
pub mod rework;
pub mod estimates;
pub mod yields;
pub mod desk;
pub mod now;
pub mod server;
pub mod demo;
pub mod cli;
