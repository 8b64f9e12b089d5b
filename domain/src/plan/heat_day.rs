//! Questions about the whole day: when the horizontals are cool, when to start, which side is shaded.

use super::amounts;
use super::draft::Draft;
use super::facts::Facts;
use super::rules::{Demand, awning_stands, demand, in_machine_hours, last_light, limit_on};
use crate::site::panel::cool_spans;
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
        let day = self.climate.horizontals_within(begin, begin, end);
        // A moment stands for the ten minutes or the hour that it begins.
        let since = day.iter().map(|m| m.at).filter(|at| *at <= begin).max().unwrap_or(begin);
        let worst_c =
            day.iter().filter(|m| m.at >= since && m.at <= end).map(|m| m.panel_c).max_by(f64::total_cmp)?;
        if worst_c <= limit_c {
            return None;
        }
        let day = self.climate.horizontals(begin);
        let spans = cool_spans(&day, limit_c);
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

    /// The last start before the booked one and the first after it at which every panel would be under its limit,
    /// in words; none when there is neither. Water counts, and the awning where the van has one and it stands;
    /// machines keep their hours and dry-on work its light.
    pub(crate) fn cooler_starts(&self, draft: &Draft) -> Option<String> {
        let first = self.input.start.date().and_hms_opt(EARLIEST_HOUR, 0, 0)?;
        let starts: Vec<NaiveDateTime> = (0..QUARTERS).map(|n| first + TimeDelta::minutes(15 * n)).collect();
        let booked = self.input.start;
        let asked = self.demands(draft);
        let mut early = starts.iter().rev().filter(|at| **at < booked);
        let mut late = starts.iter().filter(|at| **at > booked);
        let earlier = early.find_map(|&at| self.cool(draft, &asked, at));
        let later = late.find_map(|&at| self.cool(draft, &asked, at));
        match (earlier, later) {
            (Some(earlier), Some(later)) => Some(format!("start by {earlier} or at {later}")),
            (Some(earlier), None) => Some(format!("start by {earlier}")),
            (None, Some(later)) => Some(format!("start at {later}")),
            (None, None) => None,
        }
    }

    /// What the steps ask of the panels that nobody has read, the tightest first: most starts fail there.
    fn demands(&self, draft: &Draft) -> Vec<(f64, Demand)> {
        let open = draft.work.iter().flat_map(|w| w.zones.iter().map(move |&z| (w, z)));
        let unread = open.filter(|(_, z)| self.reading(*z).is_none());
        let mut asked: Vec<(f64, Demand)> =
            unread.filter_map(|(w, z)| Some((w.begin_min, demand(draft, w, z)?))).collect();
        asked.sort_by(|a, b| a.1.limit_c.total_cmp(&b.1.limit_c));
        asked
    }

    /// The start in words, if it will do.
    fn cool(&self, draft: &Draft, asked: &[(f64, Demand)], at: NaiveDateTime) -> Option<String> {
        let light = last_light(self).filter(|_| !self.sheltered());
        if !self.may_work_from(draft, at, light) {
            return None;
        }
        let clock = at.format("%H:%M");
        if self.cool_from(asked, at, false) {
            Some(clock.to_string())
        } else {
            let shaded = awning_stands(draft) && self.cool_from(asked, at + self.awning_up(), true);
            shaded.then(|| format!("{clock} under the awning"))
        }
    }

    /// Putting up the awning delays everything after it.
    fn awning_up(&self) -> TimeDelta {
        let minutes = self.work("A07").map_or(0.0, |w| amounts::minutes(self, &w));
        TimeDelta::seconds((minutes.clamp(0.0, 120.0) * 60.0) as i64)
    }

    /// Machines run in their hours and dry-on work is over while there is light.
    fn may_work_from(&self, draft: &Draft, start: NaiveDateTime, light: Option<NaiveDateTime>) -> bool {
        let shift = start - self.input.start;
        draft.work.iter().all(|w| {
            let over = !w.is_dry_on() || light.is_none_or(|light| self.at(w.end_min) + shift <= light);
            over && in_machine_hours(draft, w, shift)
        })
    }

    /// Every panel is under its limit when the job starts then. Rounded moments, which share their suns, rule most
    /// starts out; the exact ones decide.
    fn cool_from(&self, asked: &[(f64, Demand)], start: NaiveDateTime, shaded: bool) -> bool {
        let shift = start - self.input.start;
        let cool = |moment: fn(NaiveDateTime) -> NaiveDateTime| {
            asked.iter().all(|(begin_min, demand)| {
                let at = moment(self.at(*begin_min) + shift);
                self.panel_at(demand.zone, at, shaded)
                    .is_some_and(|state| demand.excess(&state).is_none_or(|e| e.rinsed_c.is_some()))
            })
        };
        cool(to_ten_minutes) && cool(|at| at)
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
