//! The sun on the vehicle: where it stands, which sides it reaches and how strongly.
//!
//! Positions come from the Solar Position Algorithm (Reda and Andreas, NREL/TP-560-34302) in the crate
//! `solar-positioning`; how much light that makes is in [`super::light`]. Times are local wall-clock times, as
//! everywhere in a plan.

use super::light::{GROUND_ALBEDO, clear_sky, plane_of_array_w_m2, split_global};
use super::{HourRange, Site, WeatherHour};
use chrono::{DateTime, Duration, FixedOffset, NaiveDate, NaiveDateTime, TimeZone, Utc};
use serde::{Deserialize, Serialize};
use solar_positioning::{Horizon, Location, RefractionCorrection, SolarEvents, SolarPositions, delta_t};
use utoipa::ToSchema;

/// Irradiance outside the atmosphere at one astronomical unit, W/m² (Kopp and Lean 2011; from memory).
pub const SOLAR_CONSTANT_W_M2: f64 = 1361.0;
/// Shadow changes are looked for in steps of this length and then narrowed to a second.
const LOOK_STEP_MIN: i64 = 10;

/// The five sides a panel can face.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Face {
    /// Roof, bonnet, boot deck: anything that looks up.
    Top,
    Front,
    Right,
    Rear,
    Left,
}

#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SunError {
    #[error("{what} of {value} is outside {min} to {max}")]
    Range { what: &'static str, value: f64, min: f64, max: f64 },
    /// JSON pointer of the value that is not known.
    #[error("{pointer} is not known")]
    Unknown { pointer: &'static str },
    #[error("the sun cannot be computed for this date")]
    Date,
}

/// Where the sun stands as seen from the vehicle, refraction included.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Sun {
    /// 0 overhead, 90 at the horizon.
    pub zenith_deg: f64,
    /// From north, clockwise.
    pub azimuth_deg: f64,
    /// Irradiance on a surface facing the sun outside the atmosphere.
    pub outside_w_m2: f64,
}

/// A place on the globe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// -90 to 90.
    pub latitude_deg: f64,
    /// -180 to 180, east positive.
    pub longitude_deg: f64,
    /// Above the sea, -500 to 9000.
    pub elevation_m: f64,
}

/// Where and how the vehicle stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Stand<'a> {
    pub place: Place,
    /// Compass direction of the bonnet; unknown: upright faces are taken to look straight at the sun.
    pub heading_deg: Option<f64>,
    /// Hours in which something keeps the sun off the whole vehicle.
    pub shade: &'a [HourRange],
    /// Under a roof: no sun at all.
    pub covered: bool,
    /// How far local time is ahead of UTC.
    pub utc_offset_min: i32,
    /// Linke turbidity, 1 (clean) to 10 (smog), when known: clear sky by Ineichen instead of Haurwitz.
    pub turbidity: Option<f64>,
}

/// A face passing into the sun or into the shade.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ShadeChange {
    pub at: NaiveDateTime,
    pub face: Face,
    /// True when the sun reaches the face from `at` on.
    pub sunlit: bool,
}

/// Sunrise and sunset of a local day; absent where the sun does not cross the horizon that day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Daylight {
    pub sunrise_at: Option<NaiveDateTime>,
    /// The sun's highest point.
    pub noon_at: Option<NaiveDateTime>,
    pub sunset_at: Option<NaiveDateTime>,
    /// True when the day begins with the sun up: without a sunset it stays up.
    pub starts_in_daylight: bool,
}

impl Face {
    pub const ALL: [Face; 5] = [Face::Top, Face::Front, Face::Right, Face::Rear, Face::Left];
    /// The upright ones.
    pub const UPRIGHT: [Face; 4] = [Face::Front, Face::Right, Face::Rear, Face::Left];

    /// 0 for the top, 90 for the sides.
    pub fn tilt_deg(self) -> f64 {
        if self == Face::Top { 0.0 } else { 90.0 }
    }

    /// Compass direction the face looks to when the bonnet points to `heading_deg`; 0 for the top.
    pub fn azimuth_deg(self, heading_deg: f64) -> f64 {
        match self {
            Face::Top => 0.0,
            Face::Front => heading_deg,
            Face::Right => heading_deg + 90.0,
            Face::Rear => heading_deg + 180.0,
            Face::Left => heading_deg + 270.0,
        }
    }

    /// Cosine between the sun and the face's normal; at or below 0 the face shades itself.
    pub fn cos_incidence(self, sun: &Sun, heading_deg: f64) -> f64 {
        cos_incidence(sun, self.tilt_deg(), self.azimuth_deg(heading_deg))
    }
}

/// Cosine between the sun and the normal of a surface tilted by `tilt_deg` and facing `azimuth_deg`.
pub fn cos_incidence(sun: &Sun, tilt_deg: f64, azimuth_deg: f64) -> f64 {
    let (sin_z, cos_z) = sun.zenith_deg.to_radians().sin_cos();
    let (sin_t, cos_t) = tilt_deg.to_radians().sin_cos();
    cos_z * cos_t + sin_z * sin_t * (sun.azimuth_deg - azimuth_deg).to_radians().cos()
}

impl<'a> Stand<'a> {
    /// The stand of a site; latitude and longitude must be known. Sites carry no elevation: sea level is taken.
    pub fn of_site(site: &'a Site, utc_offset_min: i32) -> Result<Stand<'a>, SunError> {
        let latitude_deg = site.latitude.ok_or(SunError::Unknown { pointer: "/site/latitude" })?;
        let longitude_deg = site.longitude.ok_or(SunError::Unknown { pointer: "/site/longitude" })?;
        let stand = Stand {
            place: Place { latitude_deg, longitude_deg, elevation_m: 0.0 },
            heading_deg: site.heading_deg,
            shade: &site.shade,
            covered: site.covered.unwrap_or(false),
            utc_offset_min,
            turbidity: site.turbidity,
        };
        stand.check()?;
        Ok(stand)
    }

    /// The sun at a local time, by SPA with standard air and an estimated delta T.
    ///
    /// ```
    /// use domain::site::sun::{Face, Place, Stand};
    /// let place = Place { latitude_deg: 39.742476, longitude_deg: -105.1786, elevation_m: 1830.14 };
    /// let stand = Stand { place, heading_deg: Some(0.0), shade: &[], covered: false, utc_offset_min: -420,
    ///     turbidity: None };
    /// let at = "2003-10-17T12:30:30".parse().unwrap();
    /// let sun = stand.sun(at)?;
    /// assert_eq!(format!("{:.2} {:.2}", sun.zenith_deg, sun.azimuth_deg), "50.11 194.34");
    /// assert!(stand.is_sunlit(Face::Rear, &sun, at) && !stand.is_sunlit(Face::Front, &sun, at));
    /// # Ok::<(), domain::site::sun::SunError>(())
    /// ```
    pub fn sun(&self, at: NaiveDateTime) -> Result<Sun, SunError> {
        let utc = self.utc(at)?;
        let delta_t_s = delta_t::estimate_from_date_like(&utc).map_err(|_| SunError::Date)?;
        sun_position(utc, &self.place, delta_t_s, 1013.25, 15.0)
    }

    /// True when the sun reaches the face: up, not shaded by itself, by the surroundings or a roof.
    /// Without a heading the upright faces count as sunlit whenever the sun is up.
    pub fn is_sunlit(&self, face: Face, sun: &Sun, at: NaiveDateTime) -> bool {
        sun.zenith_deg < 90.0 && !self.is_shaded(at) && self.cos_on(face, sun) > 0.0
    }

    /// Sunlight on a face, W/m²: beam, sky and ground; under shade only what the sky and ground give.
    ///
    /// `hour` gives the measured or forecast irradiance; without it, or without a figure in it, the sky is clear.
    pub fn sun_on_face_w_m2(
        &self,
        face: Face,
        at: NaiveDateTime,
        hour: Option<&WeatherHour>,
    ) -> Result<f64, SunError> {
        let sun = self.sun(at)?;
        self.light_on_face_w_m2(face, &sun, at, hour)
    }

    /// As [`Stand::sun_on_face_w_m2`], for a sun already computed: one position serves all faces.
    pub fn light_on_face_w_m2(
        &self,
        face: Face,
        sun: &Sun,
        at: NaiveDateTime,
        hour: Option<&WeatherHour>,
    ) -> Result<f64, SunError> {
        if self.covered {
            return Ok(0.0);
        }
        let light = match hour.and_then(|hour| hour.sun_w_m2) {
            Some(global_w_m2) => split_global(within("sun, W/m2,", global_w_m2, 0.0, 1500.0)?, sun),
            None => clear_sky(sun, self.place.elevation_m, self.turbidity),
        };
        let cos = if self.is_shaded(at) { 0.0 } else { self.cos_on(face, sun) };
        Ok(plane_of_array_w_m2(&light, cos, face.tilt_deg(), GROUND_ALBEDO))
    }

    /// True for faces that lose heat to the open sky: those that look up, where there is no roof.
    pub fn sees_sky(&self, face: Face) -> bool {
        face == Face::Top && !self.covered
    }

    /// When which face passes into the sun or out of it between `from` and `to` (at most 48 h), to the second.
    /// Needs the heading. What changes and changes back within ten minutes, other than by `shade`, is not seen.
    pub fn shade_changes(
        &self,
        from: NaiveDateTime,
        to: NaiveDateTime,
    ) -> Result<Vec<ShadeChange>, SunError> {
        if self.heading_deg.is_none() {
            return Err(SunError::Unknown { pointer: "/site/heading_deg" });
        }
        let hours = (to - from).num_seconds() as f64 / 3600.0;
        within("span, h,", hours, 0.0, 48.0)?;
        let mut changes = Vec::new();
        let mut previous = (from, self.sunlit_faces(from)?);
        for at in self.looks(from, to) {
            let lit = self.sunlit_faces(at)?;
            for (index, face) in Face::ALL.into_iter().enumerate() {
                if lit[index] != previous.1[index] {
                    let at = self.narrow(index, previous.0, at, lit[index])?;
                    changes.push(ShadeChange { at, face, sunlit: lit[index] });
                }
            }
            previous = (at, lit);
        }
        changes.sort_by_key(|change| (change.at, change.face));
        Ok(changes)
    }

    /// Sunrise, noon and sunset of a local date, standard horizon of -0.833 degrees.
    pub fn daylight(&self, on: NaiveDate) -> Result<Daylight, SunError> {
        self.check()?;
        let delta_t_s = delta_t::estimate_from_date_like(&on).map_err(|_| SunError::Date)?;
        let events = SolarEvents::new()
            .for_date(on, &self.zone()?, self.place.location(), delta_t_s, Horizon::SunriseSunset)
            .map_err(|_| SunError::Date)?;
        let first = |times: &[DateTime<FixedOffset>]| times.first().map(DateTime::naive_local);
        Ok(Daylight {
            sunrise_at: first(&events.rises),
            noon_at: first(&events.transits),
            sunset_at: first(&events.sets),
            starts_in_daylight: events.state_at_start == solar_positioning::HorizonState::Above,
        })
    }

    fn sunlit_faces(&self, at: NaiveDateTime) -> Result<[bool; 5], SunError> {
        let sun = self.sun(at)?;
        Ok(Face::ALL.map(|face| self.is_sunlit(face, &sun, at)))
    }

    /// Moments to look at: every ten minutes, the ends of the shaded hours, and the end.
    fn looks(&self, from: NaiveDateTime, to: NaiveDateTime) -> Vec<NaiveDateTime> {
        let steps = (to - from).num_minutes() / LOOK_STEP_MIN;
        let mut looks: Vec<_> =
            (1..=steps).map(|step| from + Duration::minutes(step * LOOK_STEP_MIN)).collect();
        for range in self.shade {
            let days = (0..=3).filter_map(|day| from.date().checked_add_days(chrono::Days::new(day)));
            looks.extend(days.flat_map(|day| [day.and_time(range.from), day.and_time(range.to)]));
        }
        looks.push(to);
        looks.retain(|at| *at > from && *at <= to);
        looks.sort();
        looks.dedup();
        looks
    }

    /// First second in `(before, after]` at which the face is as it is at `after`.
    fn narrow(
        &self,
        face: usize,
        before: NaiveDateTime,
        after: NaiveDateTime,
        lit: bool,
    ) -> Result<NaiveDateTime, SunError> {
        let (mut low_s, mut high_s) = (0, (after - before).num_seconds());
        while high_s - low_s > 1 {
            let middle_s = (low_s + high_s) / 2;
            if self.sunlit_faces(before + Duration::seconds(middle_s))?[face] == lit {
                high_s = middle_s;
            } else {
                low_s = middle_s;
            }
        }
        Ok(before + Duration::seconds(high_s))
    }

    /// Cosine of incidence; an unknown heading turns every upright face straight to the sun, the safe side.
    fn cos_on(&self, face: Face, sun: &Sun) -> f64 {
        match (face, self.heading_deg) {
            (Face::Top, _) => face.cos_incidence(sun, 0.0),
            (_, Some(heading_deg)) => face.cos_incidence(sun, heading_deg),
            (_, None) => sun.zenith_deg.to_radians().sin(),
        }
    }

    fn is_shaded(&self, at: NaiveDateTime) -> bool {
        self.covered || self.shade.iter().any(|range| range.contains(at.time()))
    }

    fn utc(&self, at: NaiveDateTime) -> Result<DateTime<Utc>, SunError> {
        self.check()?;
        let utc =
            at.checked_sub_signed(Duration::minutes(self.utc_offset_min.into())).ok_or(SunError::Date)?;
        Ok(Utc.from_utc_datetime(&utc))
    }

    fn zone(&self) -> Result<FixedOffset, SunError> {
        FixedOffset::east_opt(self.utc_offset_min * 60).ok_or(SunError::Date)
    }

    fn check(&self) -> Result<(), SunError> {
        self.place.check()?;
        within("heading, deg,", self.heading_deg.unwrap_or(0.0), 0.0, 360.0)?;
        within("turbidity", self.turbidity.unwrap_or(3.0), 1.0, 10.0)?;
        within("UTC offset, min,", f64::from(self.utc_offset_min), -840.0, 840.0)?;
        Ok(())
    }
}

impl Place {
    fn check(&self) -> Result<(), SunError> {
        within("latitude, deg,", self.latitude_deg, -90.0, 90.0)?;
        within("longitude, deg,", self.longitude_deg, -180.0, 180.0)?;
        within("elevation, m,", self.elevation_m, -500.0, 9000.0)?;
        Ok(())
    }

    fn location(&self) -> Location {
        Location { latitude: self.latitude_deg, longitude: self.longitude_deg }
    }
}

/// The sun by SPA, with everything it depends on given: delta T in seconds, pressure in hPa, air in C.
pub fn sun_position(
    at: DateTime<Utc>,
    place: &Place,
    delta_t_s: f64,
    pressure_hpa: f64,
    air_c: f64,
) -> Result<Sun, SunError> {
    place.check()?;
    within("pressure, hPa,", pressure_hpa, 300.0, 1100.0)?;
    within("air temperature, C,", air_c, -60.0, 60.0)?;
    let refraction = RefractionCorrection::new(pressure_hpa, air_c).map_err(|_| SunError::Date)?;
    let prepared = SolarPositions::new().for_time(&at, delta_t_s).map_err(|_| SunError::Date)?;
    let position =
        prepared.at(place.location(), place.elevation_m, Some(refraction)).map_err(|_| SunError::Date)?;
    let distance_au = prepared.earth_radius_vector().unwrap_or(1.0);
    Ok(Sun {
        zenith_deg: position.zenith_angle(),
        azimuth_deg: position.azimuth(),
        outside_w_m2: SOLAR_CONSTANT_W_M2 / (distance_au * distance_au),
    })
}

fn within(what: &'static str, value: f64, min: f64, max: f64) -> Result<f64, SunError> {
    if value >= min && value <= max { Ok(value) } else { Err(SunError::Range { what, value, min, max }) }
}
