//! R26-R30.

use super::{Case, asks, fires, silent};
use crate::scene::{Ask, Scene, day};
use chrono::TimeDelta;
use domain::handbook::Severity::{Adjust, Advise, Block};
use domain::plan::JobPlan;
use domain::site::HourRange;

/// Machine hours from the first noisy step to the last, shifted by seconds at either end.
fn hours(s: &mut Scene, from_s: i64, to_s: i64) {
    let plan = s.plan();
    let noisy = |p: &JobPlan| (p.line("B05").begin_min, p.line("F01").end_min);
    let (begin_min, end_min) = noisy(&plan);
    let clock =
        |minutes: f64, more_s: i64| (s.start + TimeDelta::seconds((minutes * 60.0) as i64 + more_s)).time();
    s.site.machine_hours = Some(HourRange { from: clock(begin_min, from_s), to: clock(end_min, to_s) });
}

fn no_mains(s: &mut Scene) {
    s.site.mains = Some(false);
    s.leave_at_home(&["generator"]);
}

fn battery(s: &mut Scene, more_kwh: f64) {
    s.kit.battery_kwh = s.plan().totals.machine_kwh + more_kwh;
}

pub const CASES: &[Case] = &[
    silent("R26", "machines just within their hours", |s| hours(s, 0, 0)),
    fires("R26", Block, "B05", "the first machine a minute too early", |s| hours(s, 60, 0)),
    fires("R26", Block, "F01", "the last machine a minute too late", |s| hours(s, 0, -60)),
    fires("R26", Block, "Saturdays", "a Saturday where none are allowed", |s| {
        s.start = day(9, 0) + TimeDelta::days(4);
        s.weather.hours.iter_mut().for_each(|h| h.at += TimeDelta::days(4));
        s.site.saturday_allowed = Some(false);
    }),
    asks("R26", "/site/saturday_allowed", "a Saturday, and nobody has asked", |s| {
        s.start = day(9, 0) + TimeDelta::days(4);
        s.weather.hours.iter_mut().for_each(|h| h.at += TimeDelta::days(4));
        s.site.saturday_allowed = None;
    }),
    silent("R26", "a Friday there", |s| {
        s.start = day(9, 0) + TimeDelta::days(3);
        s.weather.hours.iter_mut().for_each(|h| h.at += TimeDelta::days(3));
        s.site.saturday_allowed = Some(false);
    }),
    fires("R26", Block, "no generator allowed", "a generator where none is allowed", |s| {
        s.site.generator_allowed = Some(false);
        s.site.mains = Some(false);
        s.kit.battery_kwh = 0.0;
    }),
    silent("R26", "a battery where no generator is allowed", |s| s.site.generator_allowed = Some(false)),
    asks("R26", "/site/machine_hours", "nobody knows the hours", |s| s.site.machine_hours = None),
    asks("R26", "/site/generator_allowed", "nobody knows of generators", |s| {
        s.site.generator_allowed = None;
        s.site.mains = Some(false);
        s.kit.battery_kwh = 0.0;
    }),
    fires("R27", Advise, "9.9 m downwind", "people at 9.9 m", |s| s.site.people_downwind_m = Some(9.9)),
    silent("R27", "people at 10 m", |s| s.site.people_downwind_m = Some(10.0)),
    asks("R27", "/site/people_downwind_m", "nobody knows", |s| s.site.people_downwind_m = None),
    fires("R28", Block, "1.9 m away", "a vehicle at 1.9 m", |s| s.site.next_vehicle_m = Some(1.9)),
    silent("R28", "a vehicle at 2 m", |s| s.site.next_vehicle_m = Some(2.0)),
    silent("R28", "a wash at 1 m", |s| {
        s.site.next_vehicle_m = Some(1.0);
        s.package("P1", &[]);
    }),
    asks("R28", "/site/next_vehicle_m", "nobody knows", |s| s.site.next_vehicle_m = None),
    silent("R29", "the battery just lasts", |s| {
        no_mains(s);
        battery(s, 0.001);
    }),
    fires("R29", Block, "no mains", "the battery is just short", |s| {
        no_mains(s);
        battery(s, -0.01);
    }),
    asks("R29", "/site/mains", "short, and nobody knows of a socket", |s| {
        no_mains(s);
        s.site.mains = None;
        battery(s, -0.01);
    }),
    fires("R30", Adjust, "30 mA", "mains with the device", |_| {}),
    fires("R30", Adjust, "work from battery", "mains without the device, with a battery", |s| {
        s.leave_at_home(&["rcd"])
    })
    .and(|p| assert!(p.workable)),
    fires("R30", Block, "no residual-current device", "mains without the device or a battery", |s| {
        s.leave_at_home(&["rcd", "generator"]);
        s.kit.battery_kwh = 0.0;
    }),
    silent("R30", "no mains there", |s| s.site.mains = Some(false)),
];
