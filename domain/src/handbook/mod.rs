//! The trade's tables as data: read once, checked by `validate`, overridden cell by cell by a shop.
//!
//! Every number is a starting value of common practice. The label and safety data sheet of a product, local
//! codes and licensed practice rank above all of them.

mod cell;
mod estimate;
pub mod order;
mod overrides;
mod rows;
mod table;
mod validate;

pub use estimate::{Estimate, NoEstimate, StepNorm, Supply, estimate};
pub use order::{Cycle, golden_order};
pub use rows::*;
pub use table::Table;
pub use validate::{Fault, validate};

use overrides::content_hash;

use crate::inspection::Contaminant;
use crate::vehicle::{Substrate, VehicleClass, Zone};
use serde::Serialize;
use std::sync::LazyLock;
use utoipa::ToSchema;

/// What is added to a product where its label allows it: the class in `product_classes`.
pub const SHAMPOO: &str = "shampoo_neutral";
/// What lathers, and less so in hard water.
pub const LATHERS: [&str; 2] = [SHAMPOO, "foam_prewash_neutral"];

/// All tables, each an object keyed by id in list order.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Handbook {
    /// `standard-` and a hash of the built-in tables, and another one of the content when a shop has overridden cells.
    pub version: String,
    #[schema(value_type = std::collections::HashMap<String, ClassRow>)]
    pub vehicle_classes: Table<ClassRow>,
    #[schema(value_type = std::collections::HashMap<String, ZoneRow>)]
    pub zones: Table<ZoneRow>,
    #[schema(value_type = std::collections::HashMap<String, ZoneSet>)]
    pub zone_sets: Table<ZoneSet>,
    #[schema(value_type = std::collections::HashMap<String, SubstrateRow>)]
    pub substrates: Table<SubstrateRow>,
    #[schema(value_type = std::collections::HashMap<String, BanCondition>)]
    pub ban_conditions: Table<BanCondition>,
    #[schema(value_type = std::collections::HashMap<String, ContaminantRow>)]
    pub contaminants: Table<ContaminantRow>,
    #[schema(value_type = std::collections::HashMap<String, ProductClass>)]
    pub product_classes: Table<ProductClass>,
    #[schema(value_type = std::collections::HashMap<String, MixingEntry>)]
    pub mixing: Table<MixingEntry>,
    #[schema(value_type = std::collections::HashMap<String, Equipment>)]
    pub equipment: Table<Equipment>,
    #[schema(value_type = std::collections::HashMap<String, Step>)]
    pub steps: Table<Step>,
    #[schema(value_type = std::collections::HashMap<String, StepProduct>)]
    pub step_products: Table<StepProduct>,
    #[schema(value_type = std::collections::HashMap<String, Pair>)]
    pub precedence: Table<Pair>,
    #[schema(value_type = std::collections::HashMap<String, Package>)]
    pub packages: Table<Package>,
    #[schema(value_type = std::collections::HashMap<String, PackageStep>)]
    pub package_steps: Table<PackageStep>,
    #[schema(value_type = std::collections::HashMap<String, Trigger>)]
    pub triggers: Table<Trigger>,
    #[schema(value_type = std::collections::HashMap<String, Rule>)]
    pub rules: Table<Rule>,
    #[schema(value_type = std::collections::HashMap<String, Protection>)]
    pub protections: Table<Protection>,
    #[schema(value_type = std::collections::HashMap<String, ExposureKind>)]
    pub exposures: Table<ExposureKind>,
    #[schema(value_type = std::collections::HashMap<String, SourceRow>)]
    pub sources: Table<SourceRow>,
    #[schema(value_type = std::collections::HashMap<String, Accrual>)]
    pub accruals: Table<Accrual>,
    #[schema(value_type = std::collections::HashMap<String, Factor>)]
    pub factors: Table<Factor>,
}

impl Handbook {
    /// The built-in tables, read on first use.
    ///
    /// A file that cannot be read is a broken build: the tests of this module read every one.
    pub fn standard() -> &'static Handbook {
        static STANDARD_TABLES: LazyLock<Handbook> = LazyLock::new(|| match read_standard() {
            Ok(handbook) => handbook,
            Err(error) => unreachable!("built-in handbook: {error}"),
        });
        &STANDARD_TABLES
    }

    pub fn step(&self, id: &str) -> Option<&Step> {
        self.steps.get(id)
    }

    pub fn product(&self, id: &str) -> Option<&ProductClass> {
        self.product_classes.get(id)
    }

    pub fn package(&self, id: &str) -> Option<&Package> {
        self.packages.get(id)
    }

    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.get(id)
    }

    pub fn protection(&self, id: &str) -> Option<&Protection> {
        self.protections.get(id)
    }

    pub fn exposure(&self, id: &str) -> Option<&ExposureKind> {
        self.exposures.get(id)
    }

    pub fn class(&self, class: VehicleClass) -> Option<&ClassRow> {
        self.vehicle_classes.iter().find(|row| row.id == class)
    }

    pub fn substrate(&self, substrate: Substrate) -> Option<&SubstrateRow> {
        self.substrates.iter().find(|row| row.id == substrate)
    }

    pub fn contaminant(&self, contaminant: Contaminant) -> Option<&ContaminantRow> {
        self.contaminants.iter().find(|row| row.id == contaminant)
    }

    /// A single number by name, for instance `dwell_share_of_dry`.
    pub fn factor(&self, name: &str) -> Option<f64> {
        self.factors.get(name).map(|factor| factor.value)
    }

    /// Grades added to what only the customer has told: customers under-grade.
    pub fn told_worse(&self) -> u8 {
        self.factor("booked_grade_unknown_worse").map_or(1, |grades| grades.round().clamp(0.0, 4.0) as u8)
    }

    /// A number a rule decides with, for instance `R09`, `wind_m_s`.
    pub fn parameter(&self, rule: &str, name: &str) -> Option<f64> {
        self.rules.get(rule)?.parameter(name)
    }

    /// The zones of a class.
    pub fn zones_of(&self, class: VehicleClass) -> impl Iterator<Item = &ZoneRow> {
        self.zones.iter().filter(move |row| row.class == class)
    }

    pub fn zone(&self, class: VehicleClass, zone: Zone) -> Option<&ZoneRow> {
        self.zones_of(class).find(|row| row.zone == zone)
    }

    /// The zones of a set that a class has, in the order of the zones table.
    pub fn zone_set(&self, class: VehicleClass, set: &str) -> Vec<&ZoneRow> {
        let Some(set) = self.zone_sets.get(set) else { return Vec::new() };
        self.zones_of(class).filter(|row| set.zones.contains(&row.zone)).collect()
    }

    /// The products of a step, the main one first.
    pub fn products_of<'a>(&'a self, step: &'a str) -> impl Iterator<Item = &'a StepProduct> {
        self.step_products.iter().filter(move |used| used.step == step)
    }

    /// The steps of a package in the order of work.
    pub fn steps_of<'a>(&'a self, package: &'a str) -> impl Iterator<Item = &'a PackageStep> {
        self.package_steps.iter().filter(move |row| row.package == package)
    }

    /// The hottest panel a step may be done on with a product: the stricter of both.
    pub fn max_panel_c(&self, step: &Step, product: Option<&ProductClass>) -> Option<f64> {
        let label = product.map(|product| product.max_panel_c);
        step.max_panel_c.into_iter().chain(label).reduce(f64::min)
    }

    /// The pairs between two steps, in this order.
    pub fn pairs<'a>(&'a self, before: &'a str, after: &'a str) -> impl Iterator<Item = &'a Pair> {
        self.precedence.iter().filter(move |pair| pair.before == before && pair.after == after)
    }
}

fn read_standard() -> Result<Handbook, csv::Error> {
    let tables = read_tables()?;
    Ok(Handbook { version: format!("standard-{}", content_hash(&tables)), ..tables })
}

fn read_tables() -> Result<Handbook, csv::Error> {
    Ok(Handbook {
        version: String::new(),
        vehicle_classes: Table::<ClassRow>::read(
            include_str!("../../handbook/vehicle_classes.csv"),
            |row| word(&row.id),
        )?,
        zones: Table::<ZoneRow>::read(include_str!("../../handbook/zones.csv"), |row| row.id.clone())?,
        zone_sets: Table::<ZoneSet>::read(include_str!("../../handbook/zone_sets.csv"), |row| {
            row.id.clone()
        })?,
        substrates: Table::<SubstrateRow>::read(include_str!("../../handbook/substrates.csv"), |row| {
            word(&row.id)
        })?,
        ban_conditions: Table::<BanCondition>::read(
            include_str!("../../handbook/ban_conditions.csv"),
            |row| row.id.clone(),
        )?,
        contaminants: Table::<ContaminantRow>::read(
            include_str!("../../handbook/contaminants.csv"),
            |row| word(&row.id),
        )?,
        product_classes: Table::<ProductClass>::read(
            include_str!("../../handbook/product_classes.csv"),
            |row| row.id.clone(),
        )?,
        mixing: Table::<MixingEntry>::read(include_str!("../../handbook/mixing.csv"), |row| row.id.clone())?,
        equipment: Table::<Equipment>::read(include_str!("../../handbook/equipment.csv"), |row| {
            row.id.clone()
        })?,
        steps: Table::<Step>::read(include_str!("../../handbook/steps.csv"), |row| row.id.clone())?,
        step_products: Table::<StepProduct>::read(include_str!("../../handbook/step_products.csv"), |row| {
            row.id.clone()
        })?,
        precedence: Table::<Pair>::read(include_str!("../../handbook/precedence.csv"), |row| row.id.clone())?,
        packages: Table::<Package>::read(include_str!("../../handbook/packages.csv"), |row| row.id.clone())?,
        package_steps: Table::<PackageStep>::read(include_str!("../../handbook/package_steps.csv"), |row| {
            row.id.clone()
        })?,
        triggers: Table::<Trigger>::read(include_str!("../../handbook/triggers.csv"), |row| row.id.clone())?,
        rules: Table::<Rule>::read(include_str!("../../handbook/rules.csv"), |row| row.id.clone())?,
        protections: Table::<Protection>::read(include_str!("../../handbook/protections.csv"), |row| {
            row.id.clone()
        })?,
        exposures: Table::<ExposureKind>::read(include_str!("../../handbook/exposures.csv"), |row| {
            row.id.clone()
        })?,
        sources: Table::<SourceRow>::read(include_str!("../../handbook/sources.csv"), |row| row.id.clone())?,
        accruals: Table::<Accrual>::read(include_str!("../../handbook/accruals.csv"), |row| word(&row.id))?,
        factors: Table::<Factor>::read(include_str!("../../handbook/factors.csv"), |row| row.id.clone())?,
    })
}

/// The word an enum's value is written as, for instance `large_van`.
pub(crate) fn word<T: Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests;
