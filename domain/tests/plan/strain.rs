//! What heat and noise of a job make the plan say to the crew.

use crate::scene::{Scene, quiet};
use serde_json::json;

fn said(set: impl FnOnce(&mut Scene), words: &str) -> Option<String> {
    let mut scene = quiet();
    set(&mut scene);
    scene.plan().cautions.into_iter().find(|caution| caution.contains(words))
}

fn air(s: &mut Scene, air_c: f64, humidity: f64, sun_w_m2: f64) {
    s.each_hour(|h| (h.air_c, h.humidity, h.sun_w_m2) = (air_c, humidity, Some(sun_w_m2)));
}

/// Under an overcast sky; the pause rule is common practice.
#[test]
fn pauses_begin_above_thirty_and_grow_above_thirty_three_degrees() {
    let pause = |air_c| said(|s| air(s, air_c, 0.35, 60.0), "pause in every hour");
    assert_eq!(pause(30.0), None);
    assert_eq!(pause(30.1).unwrap(), "Air up to 30 C: water, shade, 10 min pause in every hour.");
    assert!(pause(33.0).unwrap().contains("10 min") && pause(33.1).unwrap().contains("15 min"));
}

/// NIOSH 2016-106: 28.2131 C for 300 W (HAZ-12). By the simplified WBGT (HAZ-17) 28 C reach it at 56.71 %:
/// 0.567 x 28 + 0.393 x 0.5671 x 37.68 + 3.94.
#[test]
fn moist_heat_in_the_sun_asks_for_a_pause_below_thirty_degrees() {
    let wbgt = |humidity, sun_w_m2| said(|s| air(s, 28.0, humidity, sun_w_m2), "WBGT");
    assert_eq!(wbgt(0.566, 700.0), None);
    let hot = wbgt(0.569, 700.0).unwrap();
    assert!(hot.contains("over the 28.2 C of NIOSH") && hot.contains("15 min pause"), "{hot}");
    // The heat index of 28 C and 57 % is 29.2 C by the Rothfusz regression (HAZ-18 is the same formula).
    assert!(hot.contains("feels like 29 C"), "{hot}");
    assert_eq!(wbgt(0.569, 60.0), None, "out of the sun it is the wet bulb that counts (ISO 7243, HAZ-16)");
    let roofed = said(
        |s| {
            air(s, 28.0, 0.569, 700.0);
            s.site.covered = Some(true);
        },
        "WBGT",
    );
    assert_eq!(roofed, None);
}

/// NIOSH's alert limit of 24.97 C for 300 W (HAZ-12) holds for people who are not used to the heat: 25 C reach it at
/// 55.2 %.
#[test]
fn a_trainee_is_cautioned_sooner() {
    let trainee = |humidity, trainee| {
        said(
            |s| {
                air(s, 25.0, humidity, 700.0);
                s.crew[0].trainee = trainee;
            },
            "WBGT",
        )
    };
    assert!(trainee(0.555, true).unwrap().contains("over the 25.0 C of NIOSH"));
    assert_eq!(trainee(0.55, true), None);
    assert_eq!(trainee(0.555, false), None);
}

/// NIOSH 98-126: 8 h at 85 dB(A), half for every 3 dB more (HAZ-09), so 1.6 h at 92.
#[test]
fn a_machine_louder_than_a_days_noise_asks_for_ear_protection() {
    let ears = |set: fn(&mut Scene)| said(set, "Ear protection");
    let blown = ears(|_| {}).unwrap();
    assert_eq!(blown, "Ear protection: car dryer about 92 dB(A), without it at most 1.6 h a day.");
    assert_eq!(ears(|s| s.leave_at_home(&["blower"])), None, "the washer's 85 dB(A) are borne for 8 h");
    let washer = ears(|s| {
        s.leave_at_home(&["blower"]);
        s.shop(json!({"equipment": {"pressure_washer": {"noise_dba": 85.1}}}));
    });
    assert!(washer.unwrap().contains("pressure washer"));
}

/// Four minutes of blowing: a day's noise at 105.7 dB(A), by halving 8 h every 3 dB from 85.
#[test]
fn a_job_that_fills_a_days_noise_names_whose_ears() {
    let day = |dba: f64| {
        said(
            |s| {
                s.package("P1", &[]);
                s.shop(json!({"equipment": {"blower": {"noise_dba": dba}}}));
            },
            "% of a day's noise",
        )
    };
    assert_eq!(day(105.0), None);
    assert!(day(106.0).unwrap().starts_with("Nimbo takes 1"));
}
