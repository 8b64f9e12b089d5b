//! The days whose jobs a phone holds.

use crate::civil;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;

/// Yesterday's work may still have to be told (assumption).
pub const DAYS_BACK: u64 = 1;
/// Far enough to plan one's fortnight (assumption); what lies further ahead still moves.
pub const DAYS_AHEAD: u64 = 14;

/// From the beginning of yesterday to the end of the fourteenth day ahead, by the calendar of the shop; the end is not
/// included.
pub fn window(today: NaiveDate, zone: Tz) -> (DateTime<Utc>, DateTime<Utc>) {
    let first = today.checked_sub_days(Days::new(DAYS_BACK)).unwrap_or(today);
    let after = today.checked_add_days(Days::new(DAYS_AHEAD + 1)).unwrap_or(today);
    let midnight = |day: NaiveDate| civil::resolve(day.and_time(NaiveTime::MIN), zone);
    (midnight(first), midnight(after))
}

#[cfg(test)]
mod tests {
    use super::window;
    use chrono::{NaiveDate, TimeDelta};

    #[test]
    fn it_is_whole_days_of_the_shop_also_where_the_clock_is_put_on() {
        let day = |m, d| NaiveDate::from_ymd_opt(2026, m, d).expect("a day");
        let (from, to) = window(day(5, 4), chrono_tz::Europe::Vienna);
        assert_eq!(
            (from.to_string(), to.to_string()),
            ("2026-05-02 22:00:00 UTC".into(), "2026-05-18 22:00:00 UTC".into())
        );
        // Summer time begins on 29 March 2026: an hour less.
        let (from, to) = window(day(3, 20), chrono_tz::Europe::Vienna);
        assert_eq!(to - from, TimeDelta::days(16) - TimeDelta::hours(1));
    }
}
