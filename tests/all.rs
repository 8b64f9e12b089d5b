//! The one test binary: the API from outside, over HTTP, on the database that `LUSTRUM_TEST_DB` names.

mod access;
mod contract;
mod customers;
mod databases;
mod errors;
mod inspections;
mod jobs;
mod plans;
mod reminders;
mod rounds;
mod tasks;
