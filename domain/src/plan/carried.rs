//! What an ordinary rinse has to carry off: products that ask for more water than dirt does.

use super::draft::Work;
use super::facts::Facts;
use crate::vehicle::Zone;
use std::collections::BTreeMap;

/// Rinses whose own litres hold the demand of their chemistry already (common practice).
const FOR_CHEMISTRY: [&str; 3] = ["D05", "D12", "D14"];

/// By zone: the greatest rinse demand of what lies on it.
#[derive(Debug, Default)]
pub(super) struct Carried(BTreeMap<Zone, u8>);

impl Carried {
    /// Factor on the litres of a step, each zone counting by its area.
    pub fn growth(&self, facts: &Facts, work: &Work) -> f64 {
        if !work.step.rinse || work.fixed_water_l.is_some() || work.is(&FOR_CHEMISTRY) {
            return 1.0;
        }
        let area_m2 = |zone: Zone| facts.zone(zone).map_or(0.0, |here| here.row.area_m2);
        let all_m2: f64 = work.zones.iter().map(|&zone| area_m2(zone)).sum();
        let grown_m2: f64 = work.zones.iter().map(|&zone| area_m2(zone) * self.factor(facts, zone)).sum();
        if all_m2 > 0.0 { grown_m2 / all_m2 } else { 1.0 }
    }

    fn factor(&self, facts: &Facts, zone: Zone) -> f64 {
        match self.0.get(&zone) {
            Some(1) => facts.factor("rinse_demand_1"),
            Some(2) => facts.factor("rinse_demand_2"),
            Some(3..) => facts.factor("rinse_demand_3"),
            _ => 1.0,
        }
    }

    /// What lies on the zones once the step is done.
    pub fn after(&mut self, facts: &Facts, work: &Work) {
        if work.step.rinse {
            self.0.retain(|zone, _| !work.zones.contains(zone));
            return;
        }
        if work.rinses_itself() {
            return;
        }
        let demand = |product: &str| facts.handbook().product(product).map_or(0, |row| row.rinse_demand);
        let most = work.products.iter().map(|used| demand(&used.product)).max().unwrap_or(0);
        for &zone in &work.zones {
            let here = self.0.entry(zone).or_default();
            *here = most.max(*here);
        }
    }
}
