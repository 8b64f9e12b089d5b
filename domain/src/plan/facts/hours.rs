//! Hours of the job: panels, weather, and when a step is to be expected before anything is scheduled.

use super::Facts;
use crate::plan::amounts;
use crate::plan::climate::{Look, PanelState};
use crate::plan::draft::{Draft, Work};
use crate::site::WeatherHour;
use crate::vehicle::Zone;
use chrono::{NaiveDateTime, TimeDelta};

/// No job is longer, minutes; a shop's norms may say anything.
const LONGEST_JOB_MIN: f64 = 14.0 * 24.0 * 60.0;

impl<'a> Facts<'a> {
    pub fn at(&self, minutes: f64) -> NaiveDateTime {
        self.input.start + TimeDelta::seconds((minutes.clamp(0.0, LONGEST_JOB_MIN) * 60.0) as i64)
    }

    pub fn hour(&self, at: NaiveDateTime) -> Option<&'a WeatherHour> {
        self.input.weather.at(at)
    }

    // ---- panels ----

    pub fn reading(&self, zone: Zone) -> Option<f64> {
        self.climate.reading(zone)
    }

    /// The panel as it would be when a step begins `minutes` after the start.
    ///
    /// Wheels are cooled with water (B01) before any product touches them, so they count as no hotter than rule
    /// R03 lets them be.
    pub fn panel(&self, zone: Zone, minutes: f64, shaded: bool) -> Option<PanelState> {
        self.panel_at(zone, self.at(minutes), shaded)
    }

    pub fn panel_at(&self, zone: Zone, at: NaiveDateTime, shaded: bool) -> Option<PanelState> {
        let here = self.zone(zone)?;
        let wheel = matches!(zone, Zone::WheelFace | Zone::WheelBarrel | Zone::Tyre);
        let look = Look {
            zone,
            substrate: here.substrate,
            faces: &here.faces,
            shaded: shaded || here.recess,
            cooled_to_c: wheel.then(|| self.limit("R03", "wheel_c")),
        };
        self.climate.panel(&look, at)
    }

    pub fn in_sun(&self, zone: Zone, minutes: f64, shaded: bool) -> bool {
        !shaded && self.panel(zone, minutes, shaded).is_some_and(|p| p.sunlit)
    }

    // ---- weather ----

    /// Weather hours from the start to the end on the clock.
    pub fn hours_on_the_clock(&self, draft: &Draft) -> impl Iterator<Item = &'a WeatherHour> {
        self.hours_between(self.input.start, self.at(draft.end_min()))
    }

    /// Weather hours in which a scheduled step falls.
    pub fn hours_of(&self, work: &Work) -> impl Iterator<Item = &'a WeatherHour> {
        self.hours_between(self.at(work.begin_min), self.at(work.end_min))
    }

    /// Weather hours that touch the span.
    pub fn hours_between(
        &self,
        from: NaiveDateTime,
        to: NaiveDateTime,
    ) -> impl Iterator<Item = &'a WeatherHour> {
        let weather = self.input.weather;
        weather.hours.iter().filter(move |h| h.at + TimeDelta::hours(1) > from && h.at < to)
    }

    /// The end of the last hour with weather.
    pub fn weather_until(&self) -> Option<NaiveDateTime> {
        self.input.weather.hours.last().map(|h| h.at + TimeDelta::hours(1))
    }

    pub fn sunset(&self) -> Option<NaiveDateTime> {
        self.climate.sunset(self.input.start)
    }

    // ---- before anything is scheduled ----

    /// Person-minutes of all steps shared by the crew.
    pub fn expected_end(&self, draft: &Draft) -> NaiveDateTime {
        self.at(self.expected_min(draft.work.iter()))
    }

    /// From the first to the last of the steps for which `test` holds, in the handbook's order.
    pub fn expected_span(
        &self,
        draft: &Draft,
        test: impl Fn(&Work) -> bool,
    ) -> Option<(NaiveDateTime, NaiveDateTime)> {
        let first = draft.work.iter().filter(|w| test(w)).map(|w| self.place(w)).min()?;
        let last = draft.work.iter().filter(|w| test(w)).map(|w| self.place(w)).max()?;
        let begin = self.expected_min(draft.work.iter().filter(|w| self.place(w) < first));
        let end = self.expected_min(draft.work.iter().filter(|w| self.place(w) <= last));
        Some((self.at(begin), self.at(end)))
    }

    fn expected_min<'w>(&self, work: impl Iterator<Item = &'w Work<'a>>) -> f64
    where
        'a: 'w,
    {
        work.map(|w| amounts::minutes(self, w)).sum::<f64>() / self.input.crew.len().max(1) as f64
    }
}
