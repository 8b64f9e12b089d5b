//! A vehicle at a place through a day: sun, shade, panel temperature and drying together.

#![expect(clippy::unwrap_used, reason = "a test that cannot read its own figures must fail")]

use chrono::{Duration, NaiveDate, NaiveDateTime, NaiveTime};
use domain::site::air::{Air, STANDARD_PRESSURE_PA};
use domain::site::dwell::{DWELL_SHARE, DwellAdvice, DwellTask, dwell_window};
use domain::site::film::{PRODUCT_FILM_UM, drying};
use domain::site::panel::{CoolSpan, Panel, PanelError, PanelMoment, cool_spans, moments, panel_in};
use domain::site::sun::{Face, Place, ShadeChange, Stand, SunError};
use domain::site::{HourRange, Site, Weather, WeatherHour};
use proptest::prelude::*;

/// The place and day of the SPA report, UTC-7.
const GOLDEN: Place = Place { latitude_deg: 39.742476, longitude_deg: -105.1786, elevation_m: 1830.14 };

fn golden(shade: &[HourRange]) -> Stand<'_> {
    Stand {
        place: GOLDEN,
        heading_deg: Some(180.0),
        shade,
        covered: false,
        utc_offset_min: -420,
        turbidity: None,
    }
}

fn on_the_day(clock: &str) -> NaiveDateTime {
    at("2003-10-17", clock)
}

fn at(date: &str, clock: &str) -> NaiveDateTime {
    date.parse::<NaiveDate>().unwrap().and_time(clock.parse().unwrap())
}

fn panel_at(
    stand: &Stand,
    weather: &Weather,
    face: Face,
    absorptance: f64,
    at: NaiveDateTime,
) -> Result<PanelMoment, PanelError> {
    panel_in(stand, &stand.sun(at)?, weather, face, absorptance, at)
}

/// Two trees with a gap of a minute between their shadows.
fn noon_shade() -> [HourRange; 2] {
    let clock = |text: &str| text.parse::<NaiveTime>().unwrap();
    [("12:03:20", "12:05:30"), ("12:06:30", "12:07:00")]
        .map(|(from, to)| HourRange { from: clock(from), to: clock(to) })
}

/// A hot July day in Berlin, UTC+2: 16 C at four, 32 C at sixteen hours, light wind, clear.
fn hot_day() -> (Stand<'static>, Weather) {
    let place = Place { latitude_deg: 52.52, longitude_deg: 13.405, elevation_m: 34.0 };
    let stand = Stand {
        place,
        heading_deg: Some(180.0),
        shade: &[],
        covered: false,
        utc_offset_min: 120,
        turbidity: None,
    };
    let hours = (0..24)
        .map(|hour| WeatherHour {
            at: at("2026-07-10", "00:00:00") + Duration::hours(hour),
            air_c: 24.0 - 8.0 * ((hour as f64 - 4.0) / 12.0 * std::f64::consts::PI).cos(),
            humidity: 0.45,
            wind_m_s: 1.5,
            gust_m_s: None,
            sun_w_m2: None,
            rain_mm_h: 0.0,
            thunder: false,
        })
        .collect();
    (stand, Weather { hours })
}

#[test]
fn with_the_bonnet_to_the_south_the_sun_passes_from_left_to_right_at_noon() {
    let changes = golden(&[]).shade_changes(on_the_day("05:00:00"), on_the_day("19:00:00")).unwrap();
    // SUN-05, Reda & Andreas table A5.1: transit 11:46:05; then the sun stands due south.
    let noon = on_the_day("11:46:05");
    let near = |change: &&ShadeChange| (change.at - noon).num_seconds().abs() <= 30;
    let passing: Vec<_> = changes.iter().filter(near).map(|change| (change.face, change.sunlit)).collect();
    assert!(passing.contains(&(Face::Right, true)) && passing.contains(&(Face::Left, false)), "{changes:?}");
    // In October the sun rises and sets south of east and west: the tail stays in the shade all day.
    assert!(changes.iter().all(|change| change.face != Face::Rear), "{changes:?}");
    // SUN-04, sunrise 06:12:43 with the sun's upper edge; its middle follows some minutes later.
    let top = changes.iter().find(|change| change.face == Face::Top).unwrap();
    assert!(top.sunlit && top.at > on_the_day("06:12:43") && top.at < on_the_day("06:20:00"));
}

#[test]
fn a_tree_shades_for_its_minutes_even_between_two_looks() {
    let shade = noon_shade();
    let changes = golden(&shade).shade_changes(on_the_day("12:00:00"), on_the_day("12:30:00")).unwrap();
    let top: Vec<_> = changes.iter().filter(|c| c.face == Face::Top).map(|c| (c.at, c.sunlit)).collect();
    let expected = [("12:03:20", false), ("12:05:30", true), ("12:06:30", false), ("12:07:00", true)];
    assert_eq!(top, expected.map(|(clock, sunlit)| (on_the_day(clock), sunlit)));
}

#[test]
fn shade_leaves_the_diffuse_light_a_roof_takes_it_and_night_has_none() {
    let shade = noon_shade();
    let stand = golden(&shade);
    let light =
        |stand: &Stand, face, clock: &str| stand.sun_on_face_w_m2(face, on_the_day(clock), None).unwrap();
    let (sunny, shaded) = (light(&stand, Face::Front, "12:00:00"), light(&stand, Face::Front, "12:05:00"));
    assert!(shaded > 20.0 && shaded < 0.4 * sunny, "{shaded} of {sunny}");
    let covered = Stand { covered: true, ..stand.clone() };
    assert_eq!(light(&covered, Face::Top, "12:00:00"), 0.0);
    assert_eq!(light(&stand, Face::Top, "23:00:00"), 0.0);
    // Without a heading an upright face is as bright as the brightest of the four.
    let unknown = Stand { heading_deg: None, ..stand.clone() };
    let brightest = Face::UPRIGHT.map(|face| light(&stand, face, "10:00:00")).into_iter().fold(0.0, f64::max);
    assert!(light(&unknown, Face::Left, "10:00:00") >= brightest);
}

#[test]
fn what_is_not_known_is_named_and_what_cannot_be_is_refused() {
    let site = Site { latitude: Some(39.7), ..Site::default() };
    assert_eq!(Stand::of_site(&site, 0), Err(SunError::Unknown { pointer: "/site/longitude" }));
    let site = Site { longitude: Some(-105.2), ..site };
    let stand = Stand::of_site(&site, -420).unwrap();
    let day = (on_the_day("08:00:00"), on_the_day("17:00:00"));
    assert_eq!(stand.shade_changes(day.0, day.1), Err(SunError::Unknown { pointer: "/site/heading_deg" }));
    let site = Site { heading_deg: Some(400.0), ..site };
    let refused = Stand::of_site(&site, -420);
    assert!(matches!(refused, Err(SunError::Range { value: 400.0, .. })), "{refused:?}");
    assert!(golden(&[]).shade_changes(day.1, day.0).is_err());
    let empty = panel_at(&golden(&[]), &Weather::default(), Face::Top, 0.5, day.0);
    assert_eq!(empty, Err(PanelError::Weather(day.0)));
}

#[test]
fn a_black_roof_is_cool_in_the_morning_and_evening_only() {
    let (stand, weather) = hot_day();
    let whole = (at("2026-07-10", "05:00:00"), at("2026-07-10", "22:00:00"));
    let roof_of = |absorptance: f64| -> Vec<PanelMoment> {
        let moments = moments(whole, 15).unwrap().into_iter();
        moments.map(|at| panel_at(&stand, &weather, Face::Top, absorptance, at).unwrap()).collect()
    };
    let roof = roof_of(0.95);
    assert_eq!((roof.len(), roof[0].at, roof[68].at), (69, whole.0, whole.1));
    let spans = cool_spans(&roof, 30.0);
    assert_eq!(spans.len(), 2, "{spans:?}");
    assert_eq!((spans[0].from, spans[1].to), whole);
    // The ends of the spans are where the roof passes 30 C.
    for end in [spans[0].to, spans[1].from] {
        let panel_c = panel_at(&stand, &weather, Face::Top, 0.95, end).unwrap().panel_c;
        assert!((panel_c - 30.0).abs() < 1.5, "{end} {panel_c}");
    }
    // White stays within the limit longer, and no roof is cool at a limit below the night.
    let cool_min =
        |spans: &[CoolSpan]| -> i64 { spans.iter().map(|span| (span.to - span.from).num_minutes()).sum() };
    assert!(cool_min(&cool_spans(&roof_of(0.25), 30.0)) > cool_min(&spans) + 60);
    assert_eq!(cool_spans(&roof, 0.0), []);
}

#[test]
fn a_reading_outranks_the_model() {
    let air = Air::new(28.0, 0.45, 1.5, STANDARD_PRESSURE_PA).unwrap();
    let read = Panel::measured(61.5, &air, true).unwrap();
    assert!((read.dry_c(&air) - 61.5).abs() < 1e-6);
}

#[test]
fn an_iron_remover_goes_at_dawn_and_not_on_the_hot_roof() {
    // 120 to 300 s of dwell (common practice), 1 min/m2 of work, a bonnet and roof of 3 m2.
    let task = DwellTask {
        label_min_s: 120.0,
        label_max_s: 300.0,
        work_min_per_m2: 1.0,
        area_m2: 3.0,
        share: DWELL_SHARE,
        re_mists: 2,
        hopeless_share: 0.5,
    };
    let (stand, weather) = hot_day();
    let advice = |clock: &str| {
        let at = at("2026-07-10", clock);
        let air = Air::of_hour(weather.at(at).unwrap(), stand.place.elevation_m).unwrap();
        let sun_w_m2 = stand.sun_on_face_w_m2(Face::Top, at, weather.at(at)).unwrap();
        let hot = drying(&Panel::in_sun(0.95, sun_w_m2, true).unwrap(), &air, PRODUCT_FILM_UM).unwrap();
        let cooled = drying(&Panel::in_sun(0.95, 0.0, false).unwrap(), &air, PRODUCT_FILM_UM).unwrap();
        dwell_window(&task, &hot, Some(&cooled)).unwrap().advice
    };
    assert_eq!(advice("06:30:00"), DwellAdvice::Go);
    assert!(matches!(advice("13:00:00"), DwellAdvice::Remist { .. } | DwellAdvice::CoolFirst));
}

proptest! {
    #[test]
    fn any_stand_and_time_give_a_finite_panel_or_an_error(
        wild in any::<f64>(), place in 0usize..14, tame in prop::array::uniform8(0.0..=1.0f64), covered: bool,
        heading_known: bool, turbid: bool, second in -8_000_000_000_000i64..8_000_000_000_000, face in 0usize..5,
        offset in -900i32..900, near in any::<bool>(),
    ) {
        let pick = |i: usize, low: f64, high: f64| if i == place { wild } else { low + tame[i] * (high - low) };
        let stand = Stand {
            place: Place {
                latitude_deg: pick(0, -90.0, 90.0),
                longitude_deg: pick(1, -180.0, 180.0),
                elevation_m: pick(2, -500.0, 9000.0),
            },
            heading_deg: heading_known.then_some(pick(3, 0.0, 360.0)),
            shade: &[],
            covered,
            utc_offset_min: offset,
            turbidity: turbid.then_some(pick(4, 1.0, 10.0)),
        };
        // Near: a year around 2026; else anywhere chrono can go and beyond.
        let epoch = NaiveDateTime::MIN.max(at("2026-01-01", "00:00:00"));
        let seconds = if near { second % 31_536_000 } else { second };
        let Some(at) = Duration::try_seconds(seconds).and_then(|by| epoch.checked_add_signed(by)) else {
            return Ok(());
        };
        let weather = Weather { hours: vec![WeatherHour {
            at, air_c: pick(5, -60.0, 60.0), humidity: 0.5, wind_m_s: pick(6, 0.0, 60.0), gust_m_s: None,
            sun_w_m2: turbid.then_some(pick(7, 0.0, 1500.0)), rain_mm_h: 0.0, thunder: false,
        }] };
        let _ = stand.daylight(at.date());
        if let Some(to) = at.checked_add_signed(Duration::hours(3)) {
            let _ = stand.shade_changes(at, to);
        }
        let absorptance = if place == 8 { wild } else { 0.9 };
        if let Ok(moment) = panel_at(&stand, &weather, Face::ALL[face], absorptance, at) {
            prop_assert!(moment.sun_w_m2 >= 0.0 && moment.sun_w_m2 <= 2500.0, "{moment:?}");
            prop_assert!(moment.panel_c.is_finite(), "{moment:?}");
        }
    }
}
