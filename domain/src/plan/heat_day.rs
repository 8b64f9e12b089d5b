//! Questions about the whole day: when the horizontals are cool, when to start, which side is shaded.

use super::draft::Draft;
use super::facts::Facts;
use super::rules::{excess_at, limit_on};
use crate::site::sun::Face;
use crate::vehicle::Zone;
use chrono::{NaiveDateTime, TimeDelta, Timelike};

/// The horizontals over their limit while the job may run.
pub(crate) struct Heat {
    pub zone: Zone,
    pub worst_c: f64,
    pub limit_c: f64,
    /// Chemistry on them must be over by then.
    pub until: Option<NaiveDateTime>,
    /// It may start again from then.
    pub from: Option<NaiveDateTime>,
}

/// First start that is looked at, hour of the day, and how many quarters of an hour from it (assumption: nobody
/// starts before dawn of midsummer or after nightfall).
const EARLIEST_HOUR: u32 = 5;
const QUARTERS: i64 = 64;

impl Facts<'_> {
    /// The horizontals' heat within the booked window, when it is over the lowest limit of the steps on them.
    pub(crate) fn heat_of_day(&self, draft: &Draft) -> Option<Heat> {
        let (zone, limit_c) = self.tightest_horizontal(draft)?;
        let begin = self.input.start;
        let end = self.input.window_end.unwrap_or(begin).max(self.at(draft.end_min()));
        let day = self.climate.horizontals(begin);
        // A moment stands for the ten minutes or the hour that it begins.
        let since = day.iter().map(|m| m.at).filter(|at| *at <= begin).max().unwrap_or(begin);
        let worst_c =
            day.iter().filter(|m| m.at >= since && m.at <= end).map(|m| m.panel_c).max_by(f64::total_cmp)?;
        if worst_c <= limit_c {
            return None;
        }
        let spans = self.climate.cool_horizontals(begin, limit_c);
        let hottest = day.iter().max_by(|a, b| a.panel_c.total_cmp(&b.panel_c))?.at;
        let until = spans.iter().filter(|s| s.to <= hottest).map(|s| s.to).next_back();
        let from = spans.iter().map(|s| s.from).find(|&f| f >= hottest);
        Some(Heat { zone, worst_c, limit_c, until, from })
    }

    /// The painted horizontal with the lowest limit of any step on it.
    fn tightest_horizontal(&self, draft: &Draft) -> Option<(Zone, f64)> {
        let painted_top = |z: &Zone| {
            self.reading(*z).is_none()
                && self.zone(*z).is_some_and(|f| f.faces.contains(&Face::Top) && f.substrate.is_paint())
        };
        let open = draft.work.iter().filter(|w| !w.shaded);
        let limits = open.flat_map(|w| {
            w.zones.iter().copied().filter(painted_top).filter_map(|z| Some((z, limit_on(draft, w, z)?)))
        });
        limits.min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// The start of that day nearest to the booked one at which every panel would be under its limit, water
    /// counted in.
    pub(crate) fn cooler_start(&self, draft: &Draft) -> Option<NaiveDateTime> {
        let earliest = self.input.start.date().and_hms_opt(EARLIEST_HOUR, 0, 0)?;
        let distance = |at: &NaiveDateTime| (*at - self.input.start).num_minutes().abs();
        let mut starts: Vec<NaiveDateTime> =
            (0..QUARTERS).map(|n| earliest + TimeDelta::minutes(15 * n)).collect();
        starts.sort_by_key(distance);
        starts.into_iter().find(|&at| self.cool_from(draft, at))
    }

    fn cool_from(&self, draft: &Draft, start: NaiveDateTime) -> bool {
        let shift = start - self.input.start;
        draft.work.iter().all(|w| {
            let at = to_ten_minutes(self.at(w.begin_min) + shift);
            w.zones.iter().all(|&z| {
                limit_on(draft, w, z).is_none()
                    || self.reading(z).is_some()
                    || self.panel_at(z, at, false).is_some()
                        && excess_at(draft, w, z, at).is_none_or(|e| e.rinsed_c.is_some())
            })
        })
    }

    /// The sun shines at the start or at the end of the job.
    pub(crate) fn sun_shines(&self, draft: &Draft) -> bool {
        self.climate.sun_shines(self.input.start) || self.climate.sun_shines(self.at(draft.end_min()))
    }

    /// Where to begin and where to end at a moment; none when no side is in the sun.
    pub(crate) fn sides_text(&self, at: NaiveDateTime) -> Option<String> {
        let sunny = self.climate.sunny_faces(at);
        if sunny.is_empty() {
            return None;
        }
        let shady: Vec<Face> = Face::UPRIGHT.into_iter().filter(|f| !sunny.contains(f)).collect();
        let names = |faces: &[Face]| faces.iter().map(|f| name(*f)).collect::<Vec<_>>().join(" and ");
        Some(match shady.is_empty() {
            true => "all sides in the sun: quickly".to_string(),
            false => format!("{} first, {} in the sun last", names(&shady), names(&sunny)),
        })
    }

    /// Which side comes into the sun or into the shade when, during the job.
    pub(crate) fn side_changes_text(&self, draft: &Draft) -> Option<String> {
        let changes = self.climate.changes(self.input.start, self.at(draft.end_min()));
        let words = changes.iter().map(|(at, face, sunlit)| {
            let now = if *sunlit { "comes into the sun" } else { "goes into the shade" };
            format!("{} {now} at {}", name(*face), at.format("%H:%M"))
        });
        let text = words.collect::<Vec<_>>().join("; ");
        (!text.is_empty()).then_some(text)
    }
}

/// Steps of a shifted job share their suns when their moments are rounded.
fn to_ten_minutes(at: NaiveDateTime) -> NaiveDateTime {
    at - TimeDelta::seconds(i64::from(at.minute() % 10 * 60 + at.second()))
}

fn name(face: Face) -> &'static str {
    match face {
        Face::Top => "top",
        Face::Front => "front",
        Face::Right => "right side",
        Face::Rear => "rear",
        Face::Left => "left side",
    }
}
