//! The panels at the time of a step: how hot, how soon dry, in the sun or not.

use crate::inspection::Inspection;
use crate::site::air::Air;
use crate::site::film::{self, Drying};
use crate::site::panel::{CoolSpan, Panel, PanelMoment, cool_spans, panel_day};
use crate::site::sun::{Face, Stand};
use crate::site::{HourRange, Site, Weather};
use crate::vehicle::{Substrate, Vehicle, Zone};
use chrono::{NaiveDateTime, NaiveTime, TimeDelta};

/// A zone at one moment: the hottest of the faces it has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PanelState {
    pub panel_c: f64,
    /// How far above the dew point, K.
    pub dew_margin_k: f64,
    pub sunlit: bool,
    panel: Panel,
    air: Air,
}

impl PanelState {
    /// How a film of product dries there.
    pub fn drying(&self) -> Option<Drying> {
        film::drying(&self.panel, &self.air, film::PRODUCT_FILM_UM).ok()
    }
}

/// Sun and air around one vehicle on one day.
#[derive(Debug, Clone)]
pub(crate) struct Climate<'a> {
    vehicle: &'a Vehicle,
    inspection: &'a Inspection,
    weather: &'a Weather,
    covered: bool,
    /// Absent when the place is not known; then every face is taken to look straight at the given sun.
    open: Option<Stand<'a>>,
    under_awning: Option<Stand<'a>>,
}

/// Shade at every hour: what an awning gives.
const ALL_DAY: [HourRange; 1] = [HourRange { from: NaiveTime::MIN, to: LAST_SECOND }];
const LAST_SECOND: NaiveTime = match NaiveTime::from_hms_opt(23, 59, 59) {
    Some(time) => time,
    None => NaiveTime::MIN,
};

impl<'a> Climate<'a> {
    pub fn new(
        vehicle: &'a Vehicle,
        inspection: &'a Inspection,
        site: &'a Site,
        weather: &'a Weather,
        utc_offset_min: i32,
    ) -> Climate<'a> {
        let open = Stand::of_site(site, utc_offset_min).ok();
        let under_awning = open.clone().map(|stand| Stand { shade: &ALL_DAY, ..stand });
        Climate { vehicle, inspection, weather, covered: site.covered == Some(true), open, under_awning }
    }

    /// The hottest face of a zone made of `substrate`; an infrared reading of the zone replaces the model.
    pub fn panel(
        &self,
        zone: Zone,
        substrate: Substrate,
        faces: &[Face],
        at: NaiveDateTime,
        shaded: bool,
    ) -> Option<PanelState> {
        let air = Air::of_hour(self.weather.at(at)?, 0.0).ok()?;
        let states = faces.iter().filter_map(|&face| self.face(zone, substrate, face, at, shaded, &air));
        states.max_by(|a, b| a.panel_c.total_cmp(&b.panel_c))
    }

    fn face(
        &self,
        zone: Zone,
        substrate: Substrate,
        face: Face,
        at: NaiveDateTime,
        shaded: bool,
        air: &Air,
    ) -> Option<PanelState> {
        let hour = self.weather.at(at)?;
        let stand = if shaded { &self.under_awning } else { &self.open };
        let (sun_w_m2, sunlit, open_sky) = match stand {
            Some(stand) => {
                let sun = stand.sun(at).ok()?;
                let light = stand.light_on_face_w_m2(face, &sun, at, Some(hour)).ok()?;
                (light, stand.is_sunlit(face, &sun, at) && !self.covered, stand.sees_sky(face) && !shaded)
            }
            None => {
                let sun = if shaded || self.covered { 0.0 } else { hour.sun_w_m2? };
                (sun, sun > 0.0, face == Face::Top && !self.covered && !shaded)
            }
        };
        let panel = match self.reading(zone) {
            Some(panel_c) => Panel::measured(panel_c, air, open_sky).ok()?,
            None => Panel::in_sun(self.absorptance(substrate), sun_w_m2, open_sky).ok()?,
        };
        let panel_c = self.reading(zone).unwrap_or_else(|| panel.dry_c(air));
        Some(PanelState { panel_c, dew_margin_k: air.dew_margin_k(panel_c), sunlit, panel, air: *air })
    }

    pub fn reading(&self, zone: Zone) -> Option<f64> {
        self.inspection.readings.iter().rev().find(|r| r.zone == zone).map(|r| r.panel_c)
    }

    /// Share of sunlight absorbed. Paint and film take the vehicle's; the rest are assumptions.
    fn absorptance(&self, substrate: Substrate) -> f64 {
        match substrate {
            Substrate::Glass
            | Substrate::CoatedGlass
            | Substrate::AcrylicWindow
            | Substrate::PolycarbonateLamp => 0.2,
            Substrate::Rubber | Substrate::RawPlastic => 0.9,
            Substrate::BareAluminium
            | Substrate::Anodised
            | Substrate::PolishedMetal
            | Substrate::Chrome
            | Substrate::PlatedPlastic
            | Substrate::WheelClearCoat
            | Substrate::Galvanised
            | Substrate::BareSteel => 0.5,
            _ => self.vehicle.absorptance(),
        }
    }

    /// The body's horizontals over the day of `at`, every ten minutes of the hours with weather.
    pub fn horizontals(&self, at: NaiveDateTime) -> Vec<PanelMoment> {
        let today = || self.weather.hours.iter().filter(|h| h.at.date() == at.date());
        let (Some(stand), Some(first), Some(last)) = (&self.open, today().next(), today().last()) else {
            return Vec::new();
        };
        let span = (first.at, last.at);
        panel_day(stand, self.weather, Face::Top, self.vehicle.absorptance(), span, 10).unwrap_or_default()
    }

    /// Spans of the day in which the horizontals are at or below `limit_c`.
    pub fn cool_horizontals(&self, at: NaiveDateTime, limit_c: f64) -> Vec<CoolSpan> {
        cool_spans(&self.horizontals(at), limit_c)
    }

    pub fn sunset(&self, at: NaiveDateTime) -> Option<NaiveDateTime> {
        self.open.as_ref()?.daylight(at.date()).ok()?.sunset_at
    }

    /// Upright faces in the sun at a moment.
    pub fn sunny_faces(&self, at: NaiveDateTime) -> Vec<Face> {
        let Some(stand) = &self.open else { return Vec::new() };
        let Ok(sun) = stand.sun(at) else { return Vec::new() };
        Face::UPRIGHT.into_iter().filter(|&face| !self.covered && stand.is_sunlit(face, &sun, at)).collect()
    }

    pub fn sun_is_up(&self, at: NaiveDateTime) -> bool {
        let lit = |stand: &Stand| stand.sun(at).is_ok_and(|sun| stand.is_sunlit(Face::Top, &sun, at));
        !self.covered && self.open.as_ref().is_none_or(lit)
    }

    /// What changes from sun to shade between two moments, in words.
    pub fn changes(&self, from: NaiveDateTime, to: NaiveDateTime) -> Vec<(NaiveDateTime, Face, bool)> {
        let Some(stand) = &self.open else { return Vec::new() };
        let to = to.min(from + TimeDelta::hours(24));
        let Ok(changes) = stand.shade_changes(from, to) else { return Vec::new() };
        changes.into_iter().filter(|c| c.face != Face::Top).map(|c| (c.at, c.face, c.sunlit)).collect()
    }
}
