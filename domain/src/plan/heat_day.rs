//! Questions about the whole day: when the horizontals are cool, when to start, which side is shaded.

use super::draft::Draft;
use super::facts::Facts;
use super::rules::limit_of;
use crate::site::sun::Face;
use crate::vehicle::Zone;
use chrono::{NaiveDateTime, TimeDelta};

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

impl<'a> Facts<'a> {
    /// The horizontals' heat within the booked window, when it is over the lowest limit of the steps on them.
    pub(crate) fn heat_of_day(&self, draft: &Draft) -> Option<Heat> {
        let (zone, limit_c) = draft
            .work
            .iter()
            .filter_map(|w| Some((w, limit_of(draft, w)?)))
            .flat_map(|(w, limit)| w.zones.iter().map(move |&z| (z, limit)))
            .filter(|(z, _)| {
                self.zone(*z).is_some_and(|f| f.faces.contains(&Face::Top) && f.substrate.is_paint())
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))?;
        let begin = self.input.start;
        let end = self.input.window_end.unwrap_or(begin).max(self.at(draft.end_min()));
        let day = self.climate.horizontals(begin);
        let worst_c =
            day.iter().filter(|m| m.at >= begin && m.at <= end).map(|m| m.panel_c).max_by(f64::total_cmp)?;
        if worst_c <= limit_c {
            return None;
        }
        let spans = self.climate.cool_horizontals(begin, limit_c);
        let hottest = day.iter().max_by(|a, b| a.panel_c.total_cmp(&b.panel_c))?.at;
        let until = spans.iter().filter(|s| s.to <= hottest).map(|s| s.to).next_back();
        let from = spans.iter().map(|s| s.from).find(|&f| f >= hottest);
        Some(Heat { zone, worst_c, limit_c, until, from })
    }

    /// The start of that day nearest to the booked one at which every panel would be under its limit.
    pub(crate) fn cooler_start(&self, draft: &Draft) -> Option<NaiveDateTime> {
        let day = self.input.start.date();
        let earliest = day.and_hms_opt(5, 0, 0)?;
        let quarters = (0..64).map(|n| earliest + TimeDelta::minutes(15 * n));
        let distance = |at: &NaiveDateTime| (*at - self.input.start).num_minutes().abs();
        let mut starts: Vec<NaiveDateTime> = quarters.collect();
        starts.sort_by_key(distance);
        starts.into_iter().find(|&at| self.cool_from(draft, at))
    }

    fn cool_from(&self, draft: &Draft, start: NaiveDateTime) -> bool {
        let shift_min = (start - self.input.start).num_seconds() as f64 / 60.0;
        draft.work.iter().all(|w| {
            let Some(limit_c) = limit_of(draft, w) else { return true };
            w.zones.iter().all(|&z| {
                self.reading(z).is_some()
                    || self.panel(z, w.begin_min + shift_min, false).is_some_and(|p| p.panel_c <= limit_c)
            })
        })
    }

    pub(crate) fn sun_is_up(&self, draft: &Draft) -> bool {
        self.climate.sun_is_up(self.input.start) || self.climate.sun_is_up(self.at(draft.end_min()))
    }

    /// Which upright sides the sun is on, and when that changes during the job.
    pub(crate) fn shady_side_text(&self, draft: &Draft) -> Option<String> {
        let (begin, end) = (self.input.start, self.at(draft.end_min()));
        let sunny = self.climate.sunny_faces(begin);
        let changes = self.climate.changes(begin, end);
        if sunny.is_empty() && changes.is_empty() {
            return None;
        }
        let shady: Vec<&str> =
            Face::UPRIGHT.iter().filter(|f| !sunny.contains(f)).map(|f| name(*f)).collect();
        let sunny: Vec<&str> = sunny.iter().map(|f| name(*f)).collect();
        let mut text = match (shady.is_empty(), sunny.is_empty()) {
            (_, true) => "all sides in the shade at the start".to_string(),
            (true, _) => "all sides in the sun at the start".to_string(),
            _ => format!(
                "{} in the shade first, {} in the sun last and quickly",
                shady.join(", "),
                sunny.join(", ")
            ),
        };
        for (at, face, sunlit) in changes {
            let now = if sunlit { "comes into the sun" } else { "goes into the shade" };
            text = format!("{text}; {} {now} at {}", name(face), at.format("%H:%M"));
        }
        Some(text)
    }
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
