//! HTTP, database, clock and mail around the rules of the trade in `domain`.
//!
//! Reading order: [`routes`] (what can be asked), [`app`] (what every request has at hand), [`auth`] (who may),
//! [`db`] (what is stored), [`tasks`] (what happens without being asked), [`mail`] and [`outbound`] (what leaves the house),
//! [`edge`] and [`conventions`] (what happens to every request).

pub mod app;
pub mod auth;
pub mod body;
pub mod calendar;
pub mod check;
pub mod clock;
pub mod commands;
pub mod config;
pub mod conventions;
pub mod day;
pub mod db;
pub mod demo;
pub mod dispatch;
pub mod edge;
pub mod error;
pub mod events;
pub mod extract;
pub mod forms;
pub mod handbooks;
pub mod job_sheet;
pub mod kept_facts;
pub mod mail;
pub mod norms;
pub mod openapi;
pub mod outbound;
pub mod page;
pub mod plan_input;
pub mod replies;
pub mod reply;
pub mod route;
pub mod routes;
pub mod serve;
pub mod stock;
pub mod tasks;
pub mod throughput;
pub mod upkeep;
pub mod windows;
