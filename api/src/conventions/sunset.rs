//! Routes that will go: since when they should not be used (RFC 9745), when they end (RFC 8594), and what to use instead.

use super::{add_link, set};
use actix_web::http::header::{HeaderMap, HeaderName, HttpDate};
use chrono::{DateTime, NaiveDate};
use std::time::{Duration, SystemTime};

/// A route on its way out.
pub struct Leaving {
    pub method: &'static str,
    pub pattern: &'static str,
    pub deprecated_on: NaiveDate,
    pub gone_on: NaiveDate,
    /// Address of what takes its place.
    pub successor: &'static str,
}

/// None so far. A route that breaks its promises gets a row here, and half a year.
pub const LEAVING: &[Leaving] = &[];

/// True if the route is on its way out.
pub fn is_leaving(rows: &[Leaving], method: &str, pattern: &str) -> bool {
    find(rows, method, pattern).is_some()
}

pub fn write(rows: &[Leaving], method: &str, pattern: &str, headers: &mut HeaderMap) {
    let Some(row) = find(rows, method, pattern) else { return };
    let midnight = |day: NaiveDate| day.and_time(chrono::NaiveTime::MIN).and_utc();
    set(
        headers,
        HeaderName::from_static("deprecation"),
        &format!("@{}", midnight(row.deprecated_on).timestamp()),
    );
    set(headers, HeaderName::from_static("sunset"), &http_date(midnight(row.gone_on)));
    add_link(headers, row.successor, "successor-version");
}

fn find<'a>(rows: &'a [Leaving], method: &str, pattern: &str) -> Option<&'a Leaving> {
    rows.iter().find(|row| row.method.eq_ignore_ascii_case(method) && row.pattern == pattern)
}

fn http_date(at: DateTime<chrono::Utc>) -> String {
    let since = Duration::from_secs(u64::try_from(at.timestamp()).unwrap_or(0));
    HttpDate::from(SystemTime::UNIX_EPOCH + since).to_string()
}

#[cfg(test)]
mod tests {
    use super::{HeaderMap, Leaving, NaiveDate, is_leaving, write};

    /// The days are those of the example in RFC 9745, 4 (from memory).
    #[test]
    fn a_route_on_its_way_out_says_since_when_until_when_and_what_comes() {
        let day = |y, m, d| NaiveDate::from_ymd_opt(y, m, d).unwrap();
        let rows = [Leaving {
            method: "GET",
            pattern: "/v1/old",
            deprecated_on: day(2023, 6, 30),
            gone_on: day(2024, 6, 30),
            successor: "/v1/new",
        }];
        let told = |method: &str, pattern: &str| {
            let mut headers = HeaderMap::new();
            write(&rows, method, pattern, &mut headers);
            let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap().to_owned());
            [text("deprecation"), text("sunset"), text("link")]
        };
        let expected =
            ["@1688083200", "Sun, 30 Jun 2024 00:00:00 GMT", "</v1/new>; rel=\"successor-version\""];
        assert_eq!(told("GET", "/v1/old"), expected.map(|text| Some(text.to_owned())));
        assert_eq!(told("POST", "/v1/old"), [None, None, None]);
        assert_eq!(told("GET", "/v1/new"), [None, None, None]);
        assert!(is_leaving(&rows, "get", "/v1/old") && !is_leaving(&rows, "get", "/v1/new"));
    }
}
