//! The API.
