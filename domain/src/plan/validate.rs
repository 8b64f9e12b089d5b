//! What no plan can be made from: values that contradict the handbook or themselves.

use super::{PlanError, PlanInput};
use crate::handbook::PackageRole;

/// The first value at fault.
pub(super) fn check(input: &PlanInput) -> Result<(), PlanError> {
    package(input)?;
    zones(input)?;
    vehicle(input)?;
    site(input)?;
    weather(input)?;
    kit(input)?;
    crew(input)
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
    let has = |zone| input.handbook.zone(input.vehicle.class, zone).is_some();
    for (index, finding) in input.inspection.findings.iter().enumerate() {
        if !has(finding.zone) {
            let detail = format!("this class has no {}", finding.zone.name());
            return fault(&format!("/inspection/findings/{index}/zone"), detail);
        }
        number(&format!("/inspection/findings/{index}/age_h"), finding.age_h, 0.0, 100_000.0)?;
    }
    for (index, reading) in input.inspection.readings.iter().enumerate() {
        if !has(reading.zone) {
            let detail = format!("this class has no {}", reading.zone.name());
            return fault(&format!("/inspection/readings/{index}/zone"), detail);
        }
        number(&format!("/inspection/readings/{index}/panel_c"), Some(reading.panel_c), -40.0, 120.0)?;
    }
    Ok(())
}

fn vehicle(input: &PlanInput) -> Result<(), PlanError> {
    let vehicle = input.vehicle;
    number("/vehicle/solar_absorptance", vehicle.solar_absorptance, 0.0, 1.0)?;
    number("/vehicle/paint_thickness_um", vehicle.paint_thickness_um, 0.0, 10_000.0)?;
    number("/vehicle/paint_scatter_um", vehicle.paint_scatter_um, 0.0, 10_000.0)?;
    for (index, surface) in vehicle.surfaces.iter().enumerate() {
        let pointer = format!("/vehicle/surfaces/{index}/zone");
        if input.handbook.zone(vehicle.class, surface.zone).is_none() {
            return fault(&pointer, format!("this class has no {}", surface.zone.name()));
        }
        if vehicle.surfaces[..index]
            .iter()
            .any(|s| s.zone == surface.zone && s.substrate != surface.substrate)
        {
            return fault(&pointer, format!("{} is given two materials", surface.zone.name()));
        }
    }
    for (index, coat) in vehicle.coats.iter().enumerate() {
        if input.handbook.protection(&coat.protection).is_none() {
            let detail = format!("there is no protection {}", coat.protection);
            return fault(&format!("/vehicle/coats/{index}/protection"), detail);
        }
    }
    for (index, exposure) in vehicle.exposures.iter().enumerate() {
        number(&format!("/vehicle/exposures/{index}/share"), Some(exposure.share), 0.0, 1.0)?;
    }
    Ok(())
}

fn site(input: &PlanInput) -> Result<(), PlanError> {
    let site = input.site;
    number("/site/latitude", site.latitude, -90.0, 90.0)?;
    number("/site/longitude", site.longitude, -180.0, 180.0)?;
    number("/site/heading_deg", site.heading_deg, 0.0, 360.0)?;
    number("/site/hardness_mg_l", site.hardness_mg_l, 0.0, 2000.0)?;
    number("/site/people_downwind_m", site.people_downwind_m, 0.0, 100_000.0)?;
    number("/site/next_vehicle_m", site.next_vehicle_m, 0.0, 100_000.0)?;
    number("/site/water_restriction", site.water_restriction.map(f64::from), 0.0, 3.0)?;
    if !(-18 * 60..=18 * 60).contains(&input.utc_offset_min) {
        return fault("/utc_offset_min", format!("{} min is no offset from UTC", input.utc_offset_min));
    }
    if input.window_end.is_some_and(|end| end < input.start) {
        return fault("/window_end", "the window ends before it starts".to_string());
    }
    Ok(())
}

fn weather(input: &PlanInput) -> Result<(), PlanError> {
    for (index, hour) in input.weather.hours.iter().enumerate() {
        let at = |field: &str| format!("/weather/hours/{index}/{field}");
        number(&at("air_c"), Some(hour.air_c), -60.0, 60.0)?;
        number(&at("humidity"), Some(hour.humidity), 0.0, 1.0)?;
        number(&at("wind_m_s"), Some(hour.wind_m_s), 0.0, 60.0)?;
        number(&at("gust_m_s"), hour.gust_m_s, 0.0, 100.0)?;
        number(&at("sun_w_m2"), hour.sun_w_m2, 0.0, 1500.0)?;
        number(&at("rain_mm_h"), Some(hour.rain_mm_h), 0.0, 500.0)?;
        if index > 0 && hour.at <= input.weather.hours[index - 1].at {
            return fault(&at("at"), "the hours are not in order".to_string());
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
        number(&format!("/kit/stock_ml/{product}"), Some(*ml), 0.0, 1e9)?;
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

fn number(pointer: &str, value: Option<f64>, min: f64, max: f64) -> Result<(), PlanError> {
    match value {
        Some(value) if !(value >= min && value <= max) => {
            fault(pointer, format!("{value} is outside {min} to {max}"))
        }
        _ => Ok(()),
    }
}

fn fault(pointer: &str, detail: String) -> Result<(), PlanError> {
    Err(PlanError::new(pointer, detail))
}
