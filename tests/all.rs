//! The one test binary: the API from outside, over HTTP, on the database that `LUSTRUM_TEST_DB` names.

mod access;
mod bad_input;
mod contract;
mod customers;
mod databases;
mod errors;
mod fleet;
mod handbook;
mod inspections;
mod jobs;
mod norms;
mod observations;
mod plan_forms;
mod plans;
mod program;
mod reminders;
mod roll_ups;
mod rounds;
mod steps;
mod story;
mod tasks;
mod throughput;
mod upkeep;
mod waivers;
mod weather;
mod work_facts;
