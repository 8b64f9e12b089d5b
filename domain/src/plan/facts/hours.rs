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
            recess: here.recess,
            awning_cools_k: shaded.then(|| self.limit("R01", "awning_cools_k")),
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
        self.at(self.expected_min(draft).iter().map(|(_, minutes)| minutes).sum())
    }

    /// Begin and end of each step of the draft, if they came one after the other in the handbook's order.
    pub fn expected_spans(&self, draft: &Draft) -> Vec<(NaiveDateTime, NaiveDateTime)> {
        let expected = self.expected_min(draft);
        let until = |before: &dyn Fn(usize) -> bool| {
            let earlier = expected.iter().filter(|(place, _)| before(*place));
            self.at(earlier.map(|(_, minutes)| minutes).sum())
        };
        let span =
            |&(place, _): &(usize, f64)| (until(&|other| other < place), until(&|other| other <= place));
        expected.iter().map(span).collect()
    }

    /// The same of one step.
    pub fn expected_span(&self, draft: &Draft, step: &str) -> Option<(NaiveDateTime, NaiveDateTime)> {
        let at = draft.work.iter().position(|w| w.step.id == step)?;
        self.expected_spans(draft).get(at).copied()
    }

    /// Place in the handbook's order and minutes of each step of the draft.
    fn expected_min(&self, draft: &Draft) -> Vec<(usize, f64)> {
        let hands = self.input.crew.len().max(1) as f64;
        draft.work.iter().map(|w| (self.place(w), amounts::minutes(self, w) / hands)).collect()
    }
}
