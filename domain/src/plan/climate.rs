//! The panels at the time of a step: how hot, how soon dry, in the sun or not.

use super::PlanInput;
use crate::inspection::Inspection;
use crate::site::air::Air;
use crate::site::film::{self, Drying};
use crate::site::light::{clear_sky, split_global};
use crate::site::panel::{Panel, PanelMoment, moments, panel_in};
use crate::site::sun::{Face, ShadeChange, Stand, Sun};
use crate::site::{HourRange, Weather, WeatherHour};
use crate::vehicle::{Substrate, Vehicle, Zone};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Timelike};
use std::cell::{OnceCell, RefCell};
use std::collections::{BTreeMap, HashMap};
use std::rc::Rc;

/// A zone at one moment: the hottest of the faces it has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PanelState {
    pub panel_c: f64,
    pub sunlit: bool,
    panel: Panel,
    air: Air,
}

impl PanelState {
    /// How far above the dew point, K.
    pub fn dew_margin_k(&self) -> f64 {
        self.air.dew_margin_k(self.panel_c)
    }

    /// The temperature to which a panel that is kept wet cools, C.
    pub fn wet_c(&self) -> Option<f64> {
        Some(self.drying()?.wet_c)
    }

    /// How a film of product dries there.
    pub fn drying(&self) -> Option<Drying> {
        self.drying_of(film::PRODUCT_FILM_UM)
    }

    /// How a film of so much water dries there.
    pub fn drying_of(&self, film_um: f64) -> Option<Drying> {
        film::drying(&self.panel, &self.air, film_um).ok()
    }
}

/// What is asked of a zone at one moment.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Look<'a> {
    pub zone: Zone,
    pub substrate: Substrate,
    pub faces: &'a [Face],
    /// A recess, which no sun reaches.
    pub recess: bool,
    /// Under the awning, which cools a panel by so many kelvin at most.
    pub awning_cools_k: Option<f64>,
    /// Water has cooled it to this, C.
    pub cooled_to_c: Option<f64>,
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
    utc_offset_min: i32,
    seen: Rc<Seen>,
}

/// What was worked out before, for all starts of one job; keys begin with the offset from UTC.
#[derive(Debug, Default)]
struct Seen {
    moments: RefCell<HashMap<(i32, NaiveDateTime), Rc<Moment>>>,
    /// The one asked for last: steps ask for zone after zone at one moment.
    last: RefCell<Option<Rc<Moment>>>,
    /// Searching a sunset is dear.
    sunsets: RefCell<BTreeMap<(i32, NaiveDate), Option<NaiveDateTime>>>,
    /// So is searching what comes into the sun within an hour, by its begin.
    changes: RefCell<BTreeMap<(i32, NaiveDateTime), Vec<ShadeChange>>>,
}

/// One moment: zones and rules ask for the same sun, and zones of one material for the same faces.
#[derive(Debug)]
struct Moment {
    utc_offset_min: i32,
    at: NaiveDateTime,
    /// Absent where the weather is not known.
    air: Option<Air>,
    sun: OnceCell<Option<Sun>>,
    lights: Known<(Face, bool), Light>,
    faces: Known<FaceKey, PanelState>,
}

/// A few answers by what was asked; nothing is an answer, too.
type Known<K, V> = RefCell<Vec<(K, Option<V>)>>;

/// Light on a face.
#[derive(Debug, Clone, Copy)]
struct Light {
    sun_w_m2: f64,
    /// The sun itself is on it.
    sunlit: bool,
    open_sky: bool,
}

/// What a face without a reading depends on: the face, bits of the absorptance, of the awning's share and of the
/// temperature that water holds it at, and whether it is a recess.
type FaceKey = (Face, [u64; 3], bool);

/// Shade at every hour: what an awning gives.
const ALL_DAY: [HourRange; 1] = [HourRange { from: NaiveTime::MIN, to: LAST_SECOND }];
const LAST_SECOND: NaiveTime = match NaiveTime::from_hms_opt(23, 59, 59) {
    Some(time) => time,
    None => NaiveTime::MIN,
};
/// Below this beam the sky counts as overcast and no side as sunny, W/m² (the meteorological services' threshold
/// of sunshine duration, WMO guide no. 8; from memory).
const SUNSHINE_W_M2: f64 = 120.0;
/// Below this the sun climbs so fast that an hour's average says little of a moment in it (assumption).
const LOW_ZENITH_DEG: f64 = 70.0;
/// Below this the sun is too low to tell clouds by; the sky then counts as clear, which chills panels (assumption).
const TELLING_ZENITH_DEG: f64 = 80.0;

impl<'a> Climate<'a> {
    pub fn new(input: &PlanInput<'a>) -> Climate<'a> {
        let open = Stand::of_site(input.site, input.utc_offset_min).ok();
        let under_awning = open.clone().map(|stand| Stand { shade: &ALL_DAY, ..stand });
        Climate {
            vehicle: input.vehicle,
            inspection: input.inspection,
            weather: input.weather,
            covered: input.site.covered == Some(true),
            open,
            under_awning,
            utc_offset_min: input.utc_offset_min,
            seen: Rc::default(),
        }
    }

    /// The same place by a clock that is otherwise ahead of UTC.
    pub fn on_clock(self, utc_offset_min: i32) -> Climate<'a> {
        let set = |stand: Option<Stand<'a>>| stand.map(|stand| Stand { utc_offset_min, ..stand });
        Climate { open: set(self.open), under_awning: set(self.under_awning), utc_offset_min, ..self }
    }

    /// The hottest face of a zone; an infrared reading of the zone replaces the model. Moments of one minute are one:
    /// the sun moves by a quarter of a degree, and no schedule is kept to the second.
    pub fn panel(&self, look: &Look, at: NaiveDateTime) -> Option<PanelState> {
        let moment = self.moment(at.with_second(0).unwrap_or(at));
        let states = look.faces.iter().filter_map(|&face| self.remembered(look, face, &moment));
        states.max_by(|a, b| a.panel_c.total_cmp(&b.panel_c))
    }

    fn moment(&self, at: NaiveDateTime) -> Rc<Moment> {
        let utc_offset_min = self.utc_offset_min;
        let mut last = self.seen.last.borrow_mut();
        if let Some(known) = last.as_ref().filter(|m| m.at == at && m.utc_offset_min == utc_offset_min) {
            return known.clone();
        }
        let air = || Air::of_hour(self.weather.at(at)?, 0.0).ok();
        let fresh = || {
            let (sun, lights, faces) = (OnceCell::new(), RefCell::default(), RefCell::default());
            Rc::new(Moment { utc_offset_min, at, air: air(), sun, lights, faces })
        };
        let mut moments = self.seen.moments.borrow_mut();
        let moment = moments.entry((utc_offset_min, at)).or_insert_with(fresh).clone();
        *last = Some(moment.clone());
        moment
    }

    /// A face at a moment, computed once for all zones that share it.
    fn remembered(&self, look: &Look, face: Face, moment: &Moment) -> Option<PanelState> {
        if self.reading(look.zone).is_some() {
            return self.face(look, face, moment);
        }
        let bits = |value: Option<f64>| value.unwrap_or(f64::NAN).to_bits();
        let material = self.absorptance(look.substrate).to_bits();
        let key = (face, [material, bits(look.awning_cools_k), bits(look.cooled_to_c)], look.recess);
        if let Some((_, state)) = moment.faces.borrow().iter().find(|(known, _)| *known == key) {
            return *state;
        }
        let state = self.face(look, face, moment);
        moment.faces.borrow_mut().push((key, state));
        state
    }

    fn face(&self, look: &Look, face: Face, moment: &Moment) -> Option<PanelState> {
        let air = moment.air.as_ref()?;
        let shaded = look.recess || look.awning_cools_k.is_some();
        let Light { sun_w_m2, sunlit, open_sky } = self.light(face, moment, shaded)?;
        let read_c = self.reading(look.zone);
        let panel = match read_c {
            Some(panel_c) => Panel::measured(panel_c, air, open_sky).ok()?,
            None => Panel::in_sun(self.absorptance(look.substrate), sun_w_m2, open_sky).ok()?,
        };
        let panel_c = read_c.unwrap_or_else(|| panel.dry_c(air));
        let held_c = look.cooled_to_c.filter(|&cooled_c| cooled_c < panel_c);
        let held_c = held_c.or_else(|| self.after_sun_c(look, face, moment).filter(|&c| c > panel_c));
        let (panel, panel_c) = match held_c {
            Some(held_c) => (Panel::measured(held_c, air, open_sky).ok()?, held_c),
            None => (panel, panel_c),
        };
        Some(PanelState { panel_c, sunlit, panel, air: *air })
    }

    /// What the awning leaves of a panel that stood in the sun, C: shade takes its time.
    fn after_sun_c(&self, look: &Look, face: Face, moment: &Moment) -> Option<f64> {
        let cools_k = look.awning_cools_k.filter(|_| !look.recess && self.reading(look.zone).is_none())?;
        let open = self.face(&Look { awning_cools_k: None, ..*look }, face, moment)?;
        Some(open.panel_c - cools_k)
    }

    /// The light on a face at a moment, whatever it is made of, computed once.
    fn light(&self, face: Face, moment: &Moment, shaded: bool) -> Option<Light> {
        let key = (face, shaded);
        if let Some((_, light)) = moment.lights.borrow().iter().find(|(known, _)| *known == key) {
            return *light;
        }
        let light = self.light_on(face, moment, shaded);
        moment.lights.borrow_mut().push((key, light));
        light
    }

    fn light_on(&self, face: Face, moment: &Moment, shaded: bool) -> Option<Light> {
        let hour = self.weather.at(moment.at)?;
        let stand = if shaded { &self.under_awning } else { &self.open };
        let Some(stand) = stand else {
            let sun_w_m2 = if shaded || self.covered { 0.0 } else { hour.sun_w_m2? };
            let open_sky = face == Face::Top && !self.covered && !shaded;
            return Some(Light { sun_w_m2, sunlit: sun_w_m2 >= SUNSHINE_W_M2, open_sky });
        };
        let at = moment.at;
        let sun = self.sun_of(stand, moment)?;
        let hour = &believable(hour, &sun);
        let shining = shines(&sun, hour);
        let clear = shining || sun.zenith_deg > TELLING_ZENITH_DEG;
        Some(Light {
            sun_w_m2: stand.light_on_face_w_m2(face, &sun, at, Some(hour)).ok()?,
            sunlit: stand.is_sunlit(face, &sun, at) && shining,
            open_sky: stand.sees_sky(face) && !shaded && clear,
        })
    }

    fn sun(&self, stand: &Stand, at: NaiveDateTime) -> Option<Sun> {
        self.sun_of(stand, &self.moment(at))
    }

    /// Both stands are at the same place, so they share the sun.
    fn sun_of(&self, stand: &Stand, moment: &Moment) -> Option<Sun> {
        *moment.sun.get_or_init(|| stand.sun(moment.at).ok())
    }

    pub fn reading(&self, zone: Zone) -> Option<f64> {
        self.inspection.readings.iter().rev().find(|r| r.zone == zone).map(|r| r.panel_c)
    }

    pub fn knows_place(&self) -> bool {
        self.open.is_some()
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

    /// The body's horizontals over the day of `at`: every ten minutes of the hours with weather, or where the
    /// place is not known the hours whose sun was given.
    pub fn horizontals(&self, at: NaiveDateTime) -> Vec<PanelMoment> {
        self.horizontals_within(at, NaiveDateTime::MIN, NaiveDateTime::MAX)
    }

    /// The same from the moment that `from` falls into up to `to`.
    pub fn horizontals_within(
        &self,
        at: NaiveDateTime,
        from: NaiveDateTime,
        to: NaiveDateTime,
    ) -> Vec<PanelMoment> {
        const STEP_MIN: i64 = 10;
        let today = || self.weather.hours.iter().filter(|h| h.at.date() == at.date());
        let (Some(first), Some(last)) = (today().next(), today().next_back()) else { return Vec::new() };
        let Some(stand) = &self.open else {
            return today().filter_map(|hour| self.horizontal_of_hour(hour)).collect();
        };
        let steps = (from.max(first.at) - first.at).num_minutes() / STEP_MIN;
        let span = (first.at + TimeDelta::minutes(steps * STEP_MIN), last.at.min(to));
        let Ok(moments) = moments(span, STEP_MIN as u32) else { return Vec::new() };
        let absorptance = self.vehicle.absorptance();
        let top = |at| panel_in(stand, &self.sun(stand, at)?, self.weather, Face::Top, absorptance, at).ok();
        moments.into_iter().map(top).collect::<Option<_>>().unwrap_or_default()
    }

    fn horizontal_of_hour(&self, hour: &WeatherHour) -> Option<PanelMoment> {
        let moment = self.moment(hour.at);
        let Light { sun_w_m2, open_sky, .. } = self.light(Face::Top, &moment, false)?;
        let panel = Panel::in_sun(self.vehicle.absorptance(), sun_w_m2, open_sky).ok()?;
        let panel_c = panel.dry_c(moment.air.as_ref()?);
        Some(PanelMoment { at: hour.at, air_c: hour.air_c, sun_w_m2, panel_c })
    }

    /// How far the sun stands from overhead.
    pub fn zenith_deg(&self, at: NaiveDateTime) -> Option<f64> {
        Some(self.sun(self.open.as_ref()?, at)?.zenith_deg)
    }

    pub fn sunset(&self, at: NaiveDateTime) -> Option<NaiveDateTime> {
        let stand = self.open.as_ref()?;
        let mut sunsets = self.seen.sunsets.borrow_mut();
        let search = || stand.daylight(at.date()).ok()?.sunset_at;
        *sunsets.entry((self.utc_offset_min, at.date())).or_insert_with(search)
    }

    /// Upright faces in the sun at a moment; none under an overcast sky.
    pub fn sunny_faces(&self, at: NaiveDateTime) -> Vec<Face> {
        let Some(stand) = &self.open else { return Vec::new() };
        let Some(sun) = self.sun(stand, at) else { return Vec::new() };
        if self.covered || self.weather.at(at).is_some_and(|hour| !shines(&sun, hour)) {
            return Vec::new();
        }
        Face::UPRIGHT.into_iter().filter(|&face| stand.is_sunlit(face, &sun, at)).collect()
    }

    /// The sun shines on the place at a moment.
    pub fn sun_shines(&self, at: NaiveDateTime) -> bool {
        let Some(stand) = &self.open else {
            return !self.covered
                && self.weather.at(at).is_some_and(|h| h.sun_w_m2.is_none_or(|g| g >= SUNSHINE_W_M2));
        };
        let Some(sun) = self.sun(stand, at) else { return false };
        let clear = self.weather.at(at).is_none_or(|hour| shines(&sun, hour));
        !self.covered && clear && stand.is_sunlit(Face::Top, &sun, at)
    }

    /// Which upright face passes into the sun (true) or out of it between two moments, at most a day apart.
    pub fn changes(&self, from: NaiveDateTime, to: NaiveDateTime) -> Vec<(NaiveDateTime, Face, bool)> {
        let to = to.min(from + TimeDelta::hours(24));
        let first = from.date().and_hms_opt(from.hour(), 0, 0).unwrap_or(from);
        let hours = (0..=24).map(|hour| first + TimeDelta::hours(hour)).take_while(|&hour| hour < to);
        let changes = hours.flat_map(|hour| self.changes_of_hour(hour));
        let within = changes.filter(|c| from < c.at && c.at <= to && c.face != Face::Top);
        within.map(|c| (c.at, c.face, c.sunlit)).collect()
    }

    fn changes_of_hour(&self, hour: NaiveDateTime) -> Vec<ShadeChange> {
        let Some(stand) = &self.open else { return Vec::new() };
        let search = || stand.shade_changes(hour, hour + TimeDelta::hours(1)).unwrap_or_default();
        let mut known = self.seen.changes.borrow_mut();
        known.entry((self.utc_offset_min, hour)).or_insert_with(search).clone()
    }
}

/// The hour with no more sun than a clear sky gives at this moment, where the sun is low: hourly figures are
/// averages, and what they claim for its first minutes would all fall on the upright sides.
fn believable(hour: &WeatherHour, sun: &Sun) -> WeatherHour {
    let most_w_m2 = clear_sky(sun, 0.0, None).global_w_m2;
    let sun_w_m2 =
        hour.sun_w_m2.map(|w_m2| if sun.zenith_deg > LOW_ZENITH_DEG { w_m2.min(most_w_m2) } else { w_m2 });
    WeatherHour { sun_w_m2, ..hour.clone() }
}

/// The beam is strong enough to cast a shadow.
fn shines(sun: &Sun, hour: &WeatherHour) -> bool {
    let light = match hour.sun_w_m2 {
        Some(global_w_m2) => split_global(global_w_m2, sun),
        None => clear_sky(sun, 0.0, None),
    };
    light.beam_w_m2 >= SUNSHINE_W_M2
}
