//! What the van carries against what its visits use: water, power, equipment, product.

use super::DayProblem;
use super::conflict::{Conflict, ConflictCode, Placed};
use super::problem::{Van, usable};
use crate::figure::Figure;
use std::collections::BTreeMap;

/// The visits of one van in the order of its round.
pub(super) fn of(day: &DayProblem, van: &Van, visits: &[&Placed]) -> Vec<Conflict> {
    let mut found: Vec<Conflict> = visits.iter().filter_map(|p| tank(day, p)).collect();
    found.extend(visits.iter().flat_map(|p| equipment(p)));
    found.extend(power(van, visits));
    found.extend(stock(day, van, visits));
    found
}

fn tank(day: &DayProblem, placed: &Placed) -> Option<Conflict> {
    let Placed { visit, van, stop } = placed;
    let (need, reserve) = (visit.tank_need_l(), day.reserve_l(van));
    (day.short_l(van, visit, stop.tank_before_l) > 0.0).then(|| {
        let nowhere = van.places_to_refill().next().is_none();
        let refill = if nowhere { "it can refill nowhere" } else { "a full tank would not do" };
        let text = format!(
            "needs {need:.0} l; van {} arrives with {:.0} l, keeps {reserve:.0} l in reserve, and {refill}.",
            van.id, stop.tank_before_l
        );
        let figures = vec![
            Figure::new("water needed", need, "l"),
            Figure::new("water on board", stop.tank_before_l, "l"),
            Figure::new("reserve", reserve, "l"),
            Figure::new("tank", usable(van.tank_l), "l"),
        ];
        Conflict::of(ConflictCode::TankShort, visit, text, figures)
    })
}

fn equipment(placed: &Placed) -> Vec<Conflict> {
    let Placed { visit, van, .. } = placed;
    let platform = (visit.platform).then_some("platform");
    let needed = visit.equipment.iter().map(String::as_str).chain(platform);
    let mut missing: Vec<&str> = needed.filter(|e| !van.has(e)).collect();
    missing.sort_unstable();
    missing.dedup();
    let say = |e| {
        let text = format!("{} needs {e}, which van {} does not carry.", visit.package, van.id);
        Conflict::of(ConflictCode::EquipmentMissing, visit, text, Vec::new())
    };
    missing.into_iter().map(say).collect()
}

/// Machines run from the customer's mains, else from the generator where there is one that may run, else from the
/// battery, which is full in the morning.
fn power(van: &Van, visits: &[&Placed]) -> Vec<Conflict> {
    let mut battery = usable(van.battery_kwh);
    let mut found = Vec::new();
    for placed in visits {
        let visit = placed.visit;
        let need = usable(visit.machine_kwh);
        let generator_runs = van.generator && visit.site.generator_allowed != Some(false);
        if visit.site.mains == Some(true) || generator_runs || need <= 0.0 {
            continue;
        }
        let figures =
            vec![Figure::new("energy needed", need, "kWh"), Figure::new("battery left", battery, "kWh")];
        if need > battery && van.generator {
            let text =
                format!("needs {need:.1} kWh, the battery has {battery:.1}, and no generator may run there.");
            found.push(Conflict::of(ConflictCode::GeneratorForbidden, visit, text, figures));
        } else if need > battery {
            let text = format!("needs {need:.1} kWh and van {} has {battery:.1} left.", van.id);
            found.push(Conflict::of(ConflictCode::PowerShort, visit, text, figures));
        } else {
            battery -= need;
        }
    }
    found
}

fn stock(day: &DayProblem, van: &Van, visits: &[&Placed]) -> Vec<Conflict> {
    let mut planned: BTreeMap<&str, (f64, Vec<String>)> = BTreeMap::new();
    for placed in visits {
        for (product, ml) in placed.visit.product_ml.iter().filter(|(_, ml)| usable(**ml) > 0.0) {
            let sum = planned.entry(product).or_default();
            sum.0 += ml;
            sum.1.push(placed.visit.job.clone());
        }
    }
    let factor = usable(day.margins.stock_factor);
    let mut found = Vec::new();
    for (product, (ml, jobs)) in planned {
        let Some(&stock) = van.stock_ml.get(product) else { continue };
        let needed = ml * factor;
        if usable(stock) < needed {
            let text = format!(
                "Van {} has {stock:.0} ml of {}; its day needs {ml:.0} ml, and {needed:.0} ml with {factor} \
                 times as reserve.",
                van.id,
                product.replace('_', " ")
            );
            let figures =
                vec![Figure::new("stock", stock, "ml"), Figure::new("needed with reserve", needed, "ml")];
            found.push(Conflict { code: ConflictCode::StockShort, jobs, text, figures });
        }
    }
    found
}
