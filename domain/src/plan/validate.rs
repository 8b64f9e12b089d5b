//! What no plan can be made from: values that contradict the handbook or themselves.

use super::{PlanError, PlanInput};
use crate::handbook::PackageRole;
use crate::site::{HourRange, Site};
use crate::vehicle::{Substrate, Zone};
use chrono::{Datelike, NaiveDate, NaiveDateTime};
use std::fmt::Display;

/// Calendar years that dates may lie in: the solar position is good for them and sums cannot overflow.
const YEARS: std::ops::RangeInclusive<i32> = 1970..=2200;
/// A booked window is not longer, days (assumption).
const LONGEST_WINDOW_D: i64 = 14;
/// Paint is given as fresh for at most so long, days (common practice: 30 to 90).
const FRESH_D: i64 = 90;
/// Hours of weather, at most: four months.
const MOST_HOURS: usize = 3000;

/// The first value at fault of what has to do with the start.
pub(super) fn check_start(input: &PlanInput) -> Result<(), PlanError> {
    date("/start", input.start.date())?;
    if !(-18 * 60..=18 * 60).contains(&input.utc_offset_min) {
        return fault("/utc_offset_min", format!("{} min is no offset from UTC", input.utc_offset_min));
    }
    if let Some(end) = input.window_end {
        window(input.start, end)?;
    }
    fresh_paint(input)
}

/// The first value at fault of everything else.
pub(super) fn check_job(input: &PlanInput) -> Result<(), PlanError> {
    package(input)?;
    zones(input)?;
    vehicle(input)?;
    site(input)?;
    weather(input)?;
    kit(input)?;
    crew(input)?;
    if let Some(on) = input.last_salted_on {
        date("/last_salted_on", on)?;
    }
    super::waiver::check(input)
}

fn package(input: &PlanInput) -> Result<(), PlanError> {
    let Some(package) = input.handbook.package(input.package) else {
        return fault("/package", format!("there is no package {}", input.package));
    };
    if !package.classes.is_empty() && !package.classes.contains(&input.vehicle.class) {
        return fault("/package", format!("{} is not for this class of vehicle", package.name));
    }
    let offered = |step: &str| {
        input.handbook.steps_of(input.package).any(|e| e.step == step && e.role != PackageRole::Required)
    };
    for (index, option) in input.options.iter().enumerate() {
        if !offered(option) {
            return fault(&format!("/options/{index}"), format!("{option} is no option of {}", package.name));
        }
    }
    for (index, step) in input.done.iter().enumerate() {
        if input.handbook.step(step).is_none() {
            return fault(&format!("/done/{index}"), format!("there is no step {step}"));
        }
    }
    Ok(())
}

fn zones(input: &PlanInput) -> Result<(), PlanError> {
    let zones: Vec<Zone> = input.handbook.zones_of(input.vehicle.class).map(|row| row.zone).collect();
    let has = |zone| zones.contains(&zone);
    for (index, finding) in input.inspection.findings.iter().enumerate() {
        if !has(finding.zone) {
            let detail = format!("this class has no {}", finding.zone.name());
            return fault(&format!("/inspection/findings/{index}/zone"), detail);
        }
        number(format_args!("/inspection/findings/{index}/age_h"), finding.age_h, 0.0, 100_000.0)?;
    }
    for (index, reading) in input.inspection.readings.iter().enumerate() {
        if !has(reading.zone) {
            let detail = format!("this class has no {}", reading.zone.name());
            return fault(&format!("/inspection/readings/{index}/zone"), detail);
        }
        number(format_args!("/inspection/readings/{index}/panel_c"), Some(reading.panel_c), -40.0, 120.0)?;
    }
    if let Some(index) = input.inspection.scratched.iter().position(|&zone| !has(zone)) {
        let detail = format!("this class has no {}", input.inspection.scratched[index].name());
        return fault(&format!("/inspection/scratched/{index}"), detail);
    }
    Ok(())
}

fn vehicle(input: &PlanInput) -> Result<(), PlanError> {
    let vehicle = input.vehicle;
    if !is_body(vehicle.finish) {
        return fault("/vehicle/finish", format!("{} is no finish of a body", word(vehicle.finish)));
    }
    repaint(input)?;
    number("/vehicle/solar_absorptance", vehicle.solar_absorptance, 0.0, 1.0)?;
    number("/vehicle/paint_thickness_um", vehicle.paint_thickness_um, 0.0, 10_000.0)?;
    number("/vehicle/paint_scatter_um", vehicle.paint_scatter_um, 0.0, 10_000.0)?;
    surfaces(input)?;
    for (index, coat) in vehicle.coats.iter().enumerate() {
        let at = |field: &str| format!("/vehicle/coats/{index}/{field}");
        if input.handbook.protection(&coat.protection).is_none() {
            return fault(&at("protection"), format!("there is no protection {}", coat.protection));
        }
        if let Some(zone) = coat.zone.filter(|&z| input.handbook.zone(vehicle.class, z).is_none()) {
            return fault(&at("zone"), format!("this class has no {}", zone.name()));
        }
        date(format_args!("/vehicle/coats/{index}/applied_on"), coat.applied_on)?;
    }
    for (index, exposure) in vehicle.exposures.iter().enumerate() {
        number(format_args!("/vehicle/exposures/{index}/share"), Some(exposure.share), 0.0, 1.0)?;
        if input.handbook.exposure(&exposure.kind).is_none() {
            let detail = format!("there is no exposure {}", exposure.kind);
            return fault(&format!("/vehicle/exposures/{index}/kind"), detail);
        }
    }
    Ok(())
}

/// Materials given for zones: of zones that the class has, one each, and such as the zone can be made of.
fn surfaces(input: &PlanInput) -> Result<(), PlanError> {
    let vehicle = input.vehicle;
    for (index, surface) in vehicle.surfaces.iter().enumerate() {
        let pointer = format!("/vehicle/surfaces/{index}/zone");
        if input.handbook.zone(vehicle.class, surface.zone).is_none() {
            return fault(&pointer, format!("this class has no {}", surface.zone.name()));
        }
        let same_zone = |s: &&crate::vehicle::Surface| s.zone == surface.zone;
        if vehicle.surfaces[..index].iter().any(|s| same_zone(&s) && s.substrate != surface.substrate) {
            return fault(&pointer, format!("{} is given two materials", surface.zone.name()));
        }
        if !can_be(surface.zone, surface.substrate) {
            let detail = format!("{} cannot be made of {}", surface.zone.name(), word(surface.substrate));
            return fault(&format!("/vehicle/surfaces/{index}/substrate"), detail);
        }
    }
    Ok(())
}

/// What a whole body is finished in.
fn is_body(finish: Substrate) -> bool {
    let metal = [
        Substrate::BareAluminium,
        Substrate::Anodised,
        Substrate::PolishedMetal,
        Substrate::Galvanised,
        Substrate::BareSteel,
    ];
    finish.is_paint() || metal.contains(&finish)
}

/// Glass in windows, rubber on tyres, textile on soft tops; a roof may be of glass, leather is inside.
fn can_be(zone: Zone, material: Substrate) -> bool {
    use Substrate::{
        AcrylicWindow, CoatedGlass, Glass, NaturalLeather, PolycarbonateLamp, Rubber, TextileTop,
    };
    let glass = [Glass, CoatedGlass, AcrylicWindow].contains(&material);
    match zone {
        Zone::Windscreen | Zone::RearGlass | Zone::SideGlass => glass,
        Zone::SoftTop => material == TextileTop,
        Zone::Tyre => material == Rubber,
        Zone::Roof => ![TextileTop, Rubber, NaturalLeather, PolycarbonateLamp].contains(&material),
        Zone::Lamps => glass || material == PolycarbonateLamp,
        Zone::Trim => !glass && ![TextileTop, NaturalLeather].contains(&material),
        _ => !glass && ![TextileTop, Rubber, NaturalLeather, PolycarbonateLamp].contains(&material),
    }
}

fn repaint(input: &PlanInput) -> Result<(), PlanError> {
    let vehicle = input.vehicle;
    for (index, &zone) in vehicle.repainted_zones.iter().enumerate() {
        if input.handbook.zone(vehicle.class, zone).is_none() {
            let detail = format!("this class has no {}", zone.name());
            return fault(&format!("/vehicle/repainted_zones/{index}"), detail);
        }
    }
    vehicle.repainted_on.map_or(Ok(()), |on| date("/vehicle/repainted_on", on))
}

/// Paint is called fresh for so long only.
fn fresh_paint(input: &PlanInput) -> Result<(), PlanError> {
    let Some(on) = input.vehicle.repainted_on else { return Ok(()) };
    let age_d = input.start.date().signed_duration_since(on).num_days();
    if input.vehicle.finish == Substrate::FreshPaint && age_d > FRESH_D {
        return fault("/vehicle/repainted_on", format!("paint of {age_d} days is not fresh"));
    }
    Ok(())
}

fn word(material: Substrate) -> String {
    crate::handbook::word(&material).replace('_', " ")
}

fn site(input: &PlanInput) -> Result<(), PlanError> {
    let site = input.site;
    number("/site/latitude", site.latitude, -90.0, 90.0)?;
    number("/site/longitude", site.longitude, -180.0, 180.0)?;
    number("/site/heading_deg", site.heading_deg, 0.0, 360.0)?;
    number("/site/turbidity", site.turbidity, 1.0, 10.0)?;
    number("/site/hardness_mg_l", site.hardness_mg_l, 0.0, 2000.0)?;
    water(site)?;
    number("/site/people_downwind_m", site.people_downwind_m, 0.0, 100_000.0)?;
    number("/site/next_vehicle_m", site.next_vehicle_m, 0.0, 100_000.0)?;
    number("/site/water_restriction", site.water_restriction.map(f64::from), 0.0, 3.0)?;
    for (index, hours) in site.shade.iter().enumerate() {
        range(&format!("/site/shade/{index}"), hours)?;
    }
    site.machine_hours.iter().try_for_each(|hours| range("/site/machine_hours", hours))
}

fn water(site: &Site) -> Result<(), PlanError> {
    let Some(water) = &site.water else { return Ok(()) };
    for (name, value, least, most) in water.numbers() {
        number(format_args!("/site/water/{name}"), Some(value), least, most)?;
    }
    if site.water_contradicts_itself() {
        let detail = format!("{} mg/l of calcium are more than the whole hardness", water.calcium_mg_l);
        return fault("/site/water/calcium_mg_l", detail);
    }
    Ok(())
}

fn window(start: NaiveDateTime, end: NaiveDateTime) -> Result<(), PlanError> {
    if end < start {
        return fault("/window_end", "the window ends before it starts".to_string());
    }
    let days = (end - start).num_days();
    if days > LONGEST_WINDOW_D {
        return fault("/window_end", format!("a window of {days} days, at most {LONGEST_WINDOW_D}"));
    }
    Ok(())
}

fn range(pointer: &str, hours: &HourRange) -> Result<(), PlanError> {
    if hours.from < hours.to {
        return Ok(());
    }
    fault(pointer, format!("{} to {} is no span of a day", hours.from, hours.to))
}

fn weather(input: &PlanInput) -> Result<(), PlanError> {
    if input.weather.hours.len() > MOST_HOURS {
        let detail = format!("{} hours, at most {MOST_HOURS}", input.weather.hours.len());
        return fault("/weather/hours", detail);
    }
    for (index, hour) in input.weather.hours.iter().enumerate() {
        date(format_args!("/weather/hours/{index}/at"), hour.at.date())?;
        number(format_args!("/weather/hours/{index}/air_c"), Some(hour.air_c), -60.0, 60.0)?;
        number(format_args!("/weather/hours/{index}/humidity"), Some(hour.humidity), 0.0, 1.0)?;
        number(format_args!("/weather/hours/{index}/wind_m_s"), Some(hour.wind_m_s), 0.0, 60.0)?;
        number(format_args!("/weather/hours/{index}/gust_m_s"), hour.gust_m_s, 0.0, 100.0)?;
        number(format_args!("/weather/hours/{index}/sun_w_m2"), hour.sun_w_m2, 0.0, 1500.0)?;
        number(format_args!("/weather/hours/{index}/rain_mm_h"), Some(hour.rain_mm_h), 0.0, 500.0)?;
        if index > 0 && hour.at <= input.weather.hours[index - 1].at {
            return fault(&format!("/weather/hours/{index}/at"), "the hours are not in order".to_string());
        }
    }
    Ok(())
}

fn kit(input: &PlanInput) -> Result<(), PlanError> {
    number("/kit/tank_l", Some(input.kit.tank_l), 0.0, 10_000.0)?;
    number("/kit/battery_kwh", Some(input.kit.battery_kwh), 0.0, 1000.0)?;
    for (index, id) in input.kit.equipment.iter().enumerate() {
        if input.handbook.equipment.get(id).is_none() {
            return fault(&format!("/kit/equipment/{index}"), format!("there is no equipment {id}"));
        }
    }
    for (product, ml) in &input.kit.stock_ml {
        if input.handbook.product(product).is_none() {
            return fault(
                &format!("/kit/stock_ml/{product}"),
                format!("there is no product class {product}"),
            );
        }
        number(format_args!("/kit/stock_ml/{product}"), Some(*ml), 0.0, 1e9)?;
    }
    for tool in input.kit.vehicles_served.keys() {
        if input.handbook.equipment.get(tool).is_none() {
            let pointer = format!("/kit/vehicles_served/{tool}");
            return fault(&pointer, format!("there is no equipment {tool}"));
        }
    }
    Ok(())
}

fn crew(input: &PlanInput) -> Result<(), PlanError> {
    match input.crew.len() {
        0 => fault("/crew", "nobody is on the job".to_string()),
        1..=8 => Ok(()),
        many => fault("/crew", format!("{many} technicians on one vehicle, at most 8")),
    }
}

pub(super) fn date(pointer: impl Display, on: NaiveDate) -> Result<(), PlanError> {
    if YEARS.contains(&on.year()) {
        return Ok(());
    }
    fault(&pointer.to_string(), format!("{on} is outside {} to {}", YEARS.start(), YEARS.end()))
}

fn number(pointer: impl Display, value: Option<f64>, min: f64, max: f64) -> Result<(), PlanError> {
    match value {
        Some(value) if !(value >= min && value <= max) => {
            fault(&pointer.to_string(), format!("{value} is outside {min} to {max}"))
        }
        _ => Ok(()),
    }
}

fn fault(pointer: &str, detail: String) -> Result<(), PlanError> {
    Err(PlanError::new(pointer, detail))
}
