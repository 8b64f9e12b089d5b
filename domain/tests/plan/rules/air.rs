//! R09-R17, R64, R67.

use super::{Case, asks, fires, silent};
use crate::scene::{Ask, Scene, day};
use domain::handbook::Severity::{Adjust, Block, Warn};
use domain::inspection::Contaminant;
use domain::vehicle::{VehicleClass, Zone};

fn wind(s: &mut Scene, wind_m_s: f64) {
    s.each_hour(|h| h.wind_m_s = wind_m_s);
}

fn van(s: &mut Scene) {
    s.vehicle.class = VehicleClass::LargeVan;
    s.package("P1", &[]);
    s.second_hand();
}

/// The second visit for a soft top: cleaned the day before.
fn guard(s: &mut Scene) {
    s.vehicle.class = VehicleClass::RoadsterSofttop;
    s.package("P7", &["H10"]);
    s.done("A01 A02 A03 A04 A05 B01 B02 B03 B04 B05 B09 B10 C01 C06 C02 C03 C04 F01 F02");
}

/// Under a roof a panel is as warm as the air.
fn covered_at(s: &mut Scene, air_c: f64) {
    s.site.covered = Some(true);
    s.each_hour(|h| h.air_c = air_c);
}

pub const CASES: &[Case] = &[
    fires("R09", Block, "no coating", "coating in 5.1 m/s", |s| {
        wind(s, 5.1);
        s.package("P4", &[]);
    }),
    asks("R09", "/site/covered", "coating in wind, and nobody knows of a roof", |s| {
        wind(s, 5.1);
        s.package("P4", &[]);
        s.site.covered = None;
    }),
    silent("R09", "coating in 5 m/s", |s| {
        wind(s, 5.0);
        s.package("P4", &[]);
    }),
    fires("R09", Adjust, "upwind", "foam in 5.1 m/s", |s| wind(s, 5.1)),
    fires("R09", Adjust, "no spray", "solvent in 5.1 m/s", |s| {
        wind(s, 5.1);
        s.find(Zone::Rocker, Contaminant::Tar, 1);
    }),
    silent("R09", "wind around a roofed place", |s| {
        wind(s, 9.0);
        s.site.covered = Some(true);
    }),
    fires("R10", Adjust, "awning", "8.1 m/s", |s| wind(s, 8.1)),
    fires("R10", Adjust, "gusts 11.1", "gusts of 11.1 m/s", |s| s.each_hour(|h| h.gust_m_s = Some(11.1))),
    silent("R10", "8 m/s with gusts of 11", |s| {
        s.each_hour(|h| (h.wind_m_s, h.gust_m_s) = (8.0, Some(11.0)))
    }),
    fires("R10", Block, "no platform", "a van's roof in 8.1 m/s", |s| {
        van(s);
        wind(s, 8.1);
    }),
    fires("R10", Block, "no step", "an SUV's roof in 8.1 m/s: the step's own limit", |s| {
        s.vehicle.class = VehicleClass::Suv;
        wind(s, 8.1);
    }),
    silent("R10", "the same in 8 m/s", |s| {
        s.vehicle.class = VehicleClass::Suv;
        wind(s, 8.0);
    }),
    // Gusts may reach twice the mean wind (assumption).
    asks("R10", "/weather/hours", "a van's roof in 5.6 m/s and no word of gusts", |s| {
        van(s);
        s.each_hour(|h| (h.wind_m_s, h.gust_m_s) = (5.6, None));
    }),
    silent("R10", "the same in 5.5 m/s", |s| {
        van(s);
        s.each_hour(|h| (h.wind_m_s, h.gust_m_s) = (5.5, None));
    })
    .and(|p| assert!(p.questions.iter().all(|q| q.rule != "R10"), "{:?}", p.questions)),
    silent("R10", "a sedan in 5.6 m/s and no word of gusts", |s| {
        s.each_hour(|h| (h.wind_m_s, h.gust_m_s) = (5.6, None))
    })
    .and(|p| assert!(p.questions.is_empty(), "{:?}", p.questions)),
    fires("R10", Block, "no textile guard", "textile guard in 8.1 m/s", |s| {
        guard(s);
        wind(s, 8.1);
    }),
    fires("R11", Block, "drift", "textile guard in 3.1 m/s", |s| {
        guard(s);
        wind(s, 3.1);
    }),
    silent("R11", "textile guard in 3 m/s", |s| {
        guard(s);
        wind(s, 3.0);
    })
    .and(|p| assert!(p.has("H10") && p.workable)),
    silent("R11", "a wash in 4 m/s", |s| wind(s, 4.0)),
    fires("R12", Warn, "wash only", "air of 4.9 C", |s| covered_at(s, 4.9)).and(|p| {
        assert!(["D03", "D04", "D07", "E01", "D05", "D14"].iter().all(|step| !p.has(step)));
        assert!(p.has("C02") && p.has("B02") && !p.has("H03"), "silica spray takes 5 C");
        assert!(p.line("B02").mixes.is_empty() && !p.line("B04").mixes.is_empty(), "alkali takes 4 C");
    }),
    silent("R12", "air of 5 C", |s| covered_at(s, 5.0)).and(|p| assert!(p.has("D03") && p.has("H03"))),
    // What each product takes is a column of its own.
    fires("R12", Adjust, "water and brush only at B03 B04", "air of 3.9 C: too cold for alkali", |s| {
        s.package("P1", &[]);
        covered_at(s, 3.9);
    })
    .and(|p| assert!(p.line("B04").mixes.is_empty() && !p.line("C02").mixes.is_empty())),
    fires("R12", Warn, "left out F03", "air of 2.9 C: too cold for the drying aid", |s| {
        s.package("P1", &[]);
        covered_at(s, 2.9);
    })
    .and(|p| assert!(p.has("F02") && !p.has("F03"))),
    fires("R12", Warn, "lubricates little", "air of 1.9 C under a roof: too cold for foam", |s| {
        s.package("P1", &[]);
        covered_at(s, 1.9);
    })
    .and(|p| assert!(p.has("C01") && p.has("C02"))),
    fires("R12", Adjust, "silica spray in place of H02", "sealant at 9.9 C", |s| {
        s.package("P3", &[]);
        covered_at(s, 9.9);
    })
    .and(|p| assert!(p.has("H03") && !p.has("H02"))),
    silent("R12", "sealant at 10 C", |s| {
        s.package("P3", &[]);
        covered_at(s, 10.0);
    })
    .and(|p| assert!(p.has("H02"))),
    fires("R12", Block, "no coating", "a coating at 9.9 C", |s| {
        s.package("P4", &[]);
        covered_at(s, 9.9);
    })
    .and(|p| assert!(p.has("H04") && !p.workable)),
    silent("R12", "a coating at 10 C", |s| {
        s.package("P4", &[]);
        covered_at(s, 10.0);
    }),
    fires("R12", Warn, "left out G02 G03", "polish at 7.9 C", |s| {
        s.package("P6", &[]);
        covered_at(s, 7.9);
    }),
    fires("R12", Warn, "panel 4.9 C", "a roof of 4.9 C", |s| s.read(Zone::Roof, 4.9))
        .and(|p| assert!(!p.has("D03") && p.has("D04"), "the wheels are warm enough")),
    silent("R12", "a roof of 5 C", |s| s.read(Zone::Roof, 5.0)),
    fires("R13", Block, "air 1.0 C", "air of 1 C", |s| frosty(s, 1.0)).and(|p| assert!(!p.workable)),
    silent("R13", "air of 1.1 C and sun on the panels", |s| frosty(s, 1.1)),
    fires("R13", Block, "panel 2.0 C", "a panel of 2 C", |s| s.read(Zone::Doors, 2.0)),
    silent("R13", "a panel of 2.1 C", |s| s.read(Zone::Doors, 2.1)),
    // The last water, at the clearing up, falls at 11:11.
    fires("R13", Block, "freezing at 14:00", "freezing within three hours", |s| {
        s.hours(14, 15, |h| h.air_c = 0.0)
    }),
    silent("R13", "freezing later than that", |s| s.hours(15, 16, |h| h.air_c = 0.0)),
    silent("R13", "frost, but under a roof", |s| covered_at(s, -5.0)),
    // The forecast ends at noon, two hours before the look-ahead of the last water does.
    asks("R13", "/weather/hours", "11 C and no word of the hours after", |s| short_forecast(s, 11.0))
        .and(|p| assert!(p.questions.iter().any(|q| q.rule == "R13"), "{:?}", p.questions)),
    silent("R13", "too warm for a frost to follow", |s| short_forecast(s, 11.1))
        .and(|p| assert!(p.questions.iter().all(|q| q.rule != "R13"), "{:?}", p.questions)),
    fires("R14", Adjust, "drain", "0 C in the night", |s| s.hours(27, 28, |h| h.air_c = 0.0)).and(|p| {
        let told = &p.notices.iter().find(|n| n.rule == "R14").unwrap().text;
        assert!(told.contains("iron (fallout) remover") && !told.contains("tar and glue"), "{told}");
    }),
    silent("R14", "0.1 C in the night", |s| s.hours(27, 28, |h| h.air_c = 0.1)),
    silent("R14", "frost in the night after next", |s| s.hours(50, 53, |h| h.air_c = -3.0)),
    asks("R14", "/weather/hours", "a cool evening and no word of the night", |s| {
        s.each_hour(|h| h.air_c = 9.0);
        s.weather.hours.truncate(20);
    }),
    fires("R15", Adjust, "wet-type", "sealant in 0.21 mm/h", |s| {
        s.package("P3", &[]);
        s.each_hour(|h| h.rain_mm_h = 0.21);
    })
    .and(|p| {
        assert!(p.has("H03") && !p.has("H02") && !p.has("G05"));
        assert!(p.place("D14") < p.place("H03") && p.place("H03") < p.place("F02"), "rinsed off wet");
    }),
    silent("R15", "sealant in 0.2 mm/h", |s| {
        s.package("P3", &[]);
        s.each_hour(|h| h.rain_mm_h = 0.2);
    })
    .and(|p| assert!(p.has("H02"))),
    fires("R15", Block, "no coating", "coating in rain", |s| {
        s.package("P4", &[]);
        s.each_hour(|h| h.rain_mm_h = 0.5);
    }),
    silent("R15", "rain on the roof of a carport", |s| {
        s.package("P3", &[]);
        s.site.covered = Some(true);
        s.each_hour(|h| h.rain_mm_h = 3.0);
    }),
    // Sealant is laid until about a quarter to twelve and needs 6 h without rain.
    fires("R16", Adjust, "in place of H02", "rain at 17:00 on sealant", |s| rain_at(s, "P3", 17)).and(|p| {
        assert!(p.has("H03") && !p.has("H02") && p.place("F02") < p.place("H03"), "dry type will do")
    }),
    silent("R16", "rain at 18:00 on sealant", |s| rain_at(s, "P3", 18)).and(|p| assert!(p.has("H02"))),
    fires("R16", Adjust, "wet-type", "rain half an hour after a silica spray", |s| rain_at(s, "P2", 12)),
    fires("R16", Block, "needs 12 h", "rain in the evening on a coating", |s| rain_at(s, "P4", 20)),
    asks("R16", "/weather/hours", "no word of the evening", |s| {
        s.package("P4", &[]);
        s.weather.hours.truncate(20);
    }),
    fires("R17", Adjust, "humidity 81 %", "sealant at 81 %", |s| {
        s.package("P3", &[]);
        s.each_hour(|h| h.humidity = 0.81);
    })
    .and(|p| assert!(p.has("H03") && !p.has("H02"))),
    silent("R17", "sealant at 80 %", |s| {
        s.package("P3", &[]);
        s.each_hour(|h| h.humidity = 0.8);
    }),
    // A coating is laid at 10 to 28 C and at most 70 % (common practice).
    fires("R17", Block, "humidity 71 %", "a coating at 71 %", |s| coating_in(s, 16.0, 0.71)),
    silent("R17", "a coating at 70 %", |s| coating_in(s, 16.0, 0.7)),
    silent("R17", "sealant at 71 %", |s| {
        s.package("P3", &[]);
        s.each_hour(|h| h.humidity = 0.71);
    }),
    fires("R17", Block, "takes up to 28 C", "a coating at 28.1 C", |s| coating_in(s, 28.1, 0.4)),
    silent("R17", "a coating at 28 C", |s| coating_in(s, 28.0, 0.4)),
    // The dew point of 16 C and 60 % is 8.2 C.
    fires("R17", Adjust, "above the dew point", "a roof of 11.1 C", |s| {
        s.package("P3", &[]);
        s.read(Zone::Roof, 11.1);
    }),
    silent("R17", "a roof of 11.4 C", |s| {
        s.package("P3", &[]);
        s.read(Zone::Roof, 11.4);
    }),
    fires("R17", Block, "no coating", "coating at 81 %", |s| {
        s.package("P4", &[]);
        s.each_hour(|h| h.humidity = 0.81);
    }),
    // The sun sets at 20:26 there, so dry-on work ends by 19:26.
    fires("R64", Adjust, "wet-type", "sealant over at half past seven", |s| late(s, "P3", 17, 20)),
    silent("R64", "sealant and all over before", |s| late(s, "P3", 17, 0)),
    fires("R64", Block, "light goes", "wheel protectant after dusk", |s| late(s, "P2", 18, 0)),
    silent("R64", "indoors", |s| {
        late(s, "P3", 17, 30);
        s.site.covered = Some(true);
    }),
    asks("R64", "/site/latitude", "no place, no sunset", |s| {
        (s.site.latitude, s.site.longitude) = (None, None);
    }),
    fires("R67", Block, "thunder from 10:00", "thunder during the job", |s| thunder(s, 10)),
    // Its last machine is silent before half past eleven, and half an hour after eight o'clock nothing runs yet.
    silent("R67", "thunder after the job", |s| thunder(s, 12)),
    silent("R67", "thunder two hours before", |s| thunder(s, 7)),
    fires("R67", Block, "until 09:30", "thunder until nine: half an hour to wait", |s| {
        thunder(s, 8);
        s.done("A01 A02 A03 A04 A05");
        s.start = day(9, 0);
    }),
];

fn short_forecast(s: &mut Scene, air_c: f64) {
    s.each_hour(|h| h.air_c = air_c);
    s.weather.hours.truncate(12);
}

fn frosty(s: &mut Scene, air_c: f64) {
    s.each_hour(|h| (h.air_c, h.sun_w_m2) = (air_c, Some(600.0)));
    s.start = day(11, 0);
}

fn coating_in(s: &mut Scene, air_c: f64, humidity: f64) {
    s.package("P4", &[]);
    covered_at(s, air_c);
    s.each_hour(|h| h.humidity = humidity);
}

fn rain_at(s: &mut Scene, package: &str, hour: usize) {
    s.package(package, &[]);
    s.hours(hour, hour + 1, |h| h.rain_mm_h = 1.0);
}

fn late(s: &mut Scene, package: &str, hour: u32, minute: u32) {
    s.package(package, &[]);
    s.start = day(hour, minute);
    s.site.machine_hours =
        Some(domain::site::HourRange { from: crate::scene::time(6, 0), to: crate::scene::time(23, 0) });
}

fn thunder(s: &mut Scene, hour: usize) {
    s.hours(hour, hour + 1, |h| h.thunder = true);
}
