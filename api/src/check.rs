//! Validation of what clients send, with a pointer to every field that is wrong.

use crate::error::{ApiError, FieldError};

/// A body or query that can tell whether its values are allowed. The extractors call it, so no handler can forget to.
pub trait Check {
    fn check(&self, found: &mut Checker);
}

/// Collects what is wrong; field names are relative to the place that [`Checker::within`] has entered.
#[derive(Debug, Default)]
pub struct Checker {
    place: String,
    errors: Vec<FieldError>,
}

impl Checker {
    pub fn refuse(&mut self, field: impl std::fmt::Display, code: &str, detail: impl Into<String>) {
        self.errors.push(FieldError::new(format!("{}/{field}", self.place), code, detail));
    }

    /// Refuses the value at the place that was entered.
    pub fn refuse_here(&mut self, code: &str, detail: impl Into<String>) {
        self.errors.push(FieldError::new(self.place.clone(), code, detail));
    }

    /// Checks a nested value with pointers below `field`.
    pub fn within(&mut self, field: impl std::fmt::Display, check: impl FnOnce(&mut Checker)) {
        let length = self.place.len();
        self.place.push_str(&format!("/{field}"));
        check(self);
        self.place.truncate(length);
    }

    /// The same for a check that looks things up and may fail at that.
    pub fn within_or<E>(
        &mut self,
        field: &str,
        check: impl FnOnce(&mut Checker) -> Result<(), E>,
    ) -> Result<(), E> {
        let length = self.place.len();
        self.place.push_str(&format!("/{field}"));
        let outcome = check(self);
        self.place.truncate(length);
        outcome
    }

    /// One line of text, 1 to `max` characters, no control characters (they could forge headers and log lines).
    pub fn line(&mut self, field: &str, value: &str, max: usize) {
        let length = value.chars().count();
        if value.trim().is_empty() {
            self.refuse(field, "too_short", "must not be empty");
        } else if length > max {
            self.refuse(field, "too_long", format!("has {length} characters, at most {max} are allowed"));
        }
        if value.chars().any(char::is_control) {
            self.refuse(field, "control_character", "must not contain control characters");
        }
    }

    pub fn line_if_given(&mut self, field: &str, value: Option<&str>, max: usize) {
        if let Some(value) = value {
            self.line(field, value, max);
        }
    }

    /// Text of several lines, at most `max` characters.
    pub fn note(&mut self, field: &str, value: Option<&str>, max: usize) {
        let Some(value) = value else { return };
        let length = value.chars().count();
        if length > max {
            self.refuse(field, "too_long", format!("has {length} characters, at most {max} are allowed"));
        }
        if value.chars().any(|c| c.is_control() && c != '\n' && c != '\t') {
            self.refuse(field, "control_character", "must not contain control characters");
        }
    }

    pub fn range<T: PartialOrd + std::fmt::Display>(&mut self, field: &str, value: T, min: T, max: T) {
        if !(min <= value && value <= max) {
            self.refuse(field, "out_of_range", format!("{value} is outside {min} to {max}"));
        }
    }

    pub fn range_if_given<T: PartialOrd + std::fmt::Display>(
        &mut self,
        field: &str,
        value: Option<T>,
        min: T,
        max: T,
    ) {
        if let Some(value) = value {
            self.range(field, value, min, max);
        }
    }

    pub fn at_most<T>(&mut self, field: &str, list: &[T], max: usize) {
        if list.len() > max {
            self.refuse(field, "too_many", format!("has {} entries, at most {max} are allowed", list.len()));
        }
    }

    /// A plausible mail address: one line, one `@` with something on both sides, a dot in the domain's inner part
    /// or a bare host. Whether mail arrives only a mail can tell.
    pub fn email(&mut self, field: &str, value: &str) {
        self.line(field, value, 254);
        let plausible = value.split_once('@').is_some_and(|(local, host)| {
            !local.is_empty()
                && !host.is_empty()
                && !host.contains('@')
                && !host.starts_with('.')
                && !host.ends_with('.')
        });
        if !plausible || value.chars().any(|c| c.is_whitespace() || "<>,;\"".contains(c)) {
            self.refuse(field, "not_an_email", "is not a mail address");
        }
    }

    /// A name of the IANA time zone database.
    pub fn time_zone(&mut self, field: &str, value: &str) {
        if value.parse::<chrono_tz::Tz>().is_err() {
            self.refuse(
                field,
                "unknown_time_zone",
                format!("there is no time zone {value:?}; see the IANA database"),
            );
        }
    }

    /// A language tag such as `en` or `de-AT` (the simple forms of RFC 5646).
    pub fn language(&mut self, field: &str, value: &str) {
        let mut parts = value.split('-');
        let first = parts
            .next()
            .is_some_and(|p| matches!(p.len(), 2 | 3) && p.bytes().all(|b| b.is_ascii_lowercase()));
        if !first || !parts.all(|p| matches!(p.len(), 2..=8) && p.bytes().all(|b| b.is_ascii_alphanumeric()))
        {
            self.refuse(field, "not_a_language", "is not a language tag such as en or de-AT");
        }
    }

    pub fn finish(self) -> Result<(), ApiError> {
        if self.errors.is_empty() { Ok(()) } else { Err(ApiError::Invalid(self.errors)) }
    }
}

/// Runs the check of one value.
pub fn check(value: &impl Check) -> Result<(), ApiError> {
    let mut checker = Checker::default();
    value.check(&mut checker);
    checker.finish()
}
