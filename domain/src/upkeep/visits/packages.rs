//! Which package meets which need, read off the steps that it has for sure or that its findings call for.

use crate::handbook::{Handbook, PackageRole, PackageStep, TriggerWhen};
use crate::inspection::Contaminant;
use crate::upkeep::needs::{Need, NeedKind};
use std::collections::{BTreeMap, BTreeSet};

/// What is recommended where no package takes a contaminant off: the deepest clean there is.
const DEEPEST: &str = "P2";

pub(in crate::upkeep) struct Packages<'a> {
    /// The shortest first.
    all: Vec<Contents<'a>>,
    /// Step that lays each protection.
    laid_by: BTreeMap<&'a str, &'a str>,
}

/// What a package does.
struct Contents<'a> {
    id: &'a str,
    /// Steps that it does in any case.
    steps: BTreeSet<&'a str>,
    /// Of what gathers, what it takes off when it is found.
    treats: Vec<Contaminant>,
    /// Sold for every class of vehicle.
    for_all: bool,
}

impl<'a> Packages<'a> {
    pub fn read(handbook: &'a Handbook) -> Packages<'a> {
        let mut all: Vec<Contents> =
            handbook.packages.iter().map(|row| contents(handbook, &row.id)).collect();
        all.sort_by_key(|package| package.steps.len());
        let laid_by =
            handbook.protections.iter().filter_map(|row| Some((row.id.as_str(), row.applied_by.as_deref()?)));
        Packages { all, laid_by: laid_by.collect() }
    }

    /// The shortest package that takes all of these off, else most of them.
    pub fn against(&self, contaminants: &[Contaminant]) -> &'a str {
        let treated = |package: &Contents| contaminants.iter().filter(|c| package.treats.contains(c)).count();
        let sold = self.all.iter().filter(|package| package.for_all && treated(package) > 0);
        // Of several that treat as many, `max_by_key` takes the last one: the longest first.
        sold.rev().max_by_key(|package| treated(package)).map_or(DEEPEST, |package| package.id)
    }

    /// Whether the package does what the need asks for, as `History::record_job` will read it.
    pub fn covers(&self, package: &str, need: &Need) -> bool {
        if need.package == package {
            return true;
        }
        let Some(package) = self.all.iter().find(|known| known.id == package) else { return false };
        let does = |list: &[&str]| list.iter().any(|step| package.steps.contains(step));
        match need.kind {
            NeedKind::Decontamination => does(&["D03"]) && does(&["D05"]),
            // A bag on the fingers needs nothing but wet and clean paint.
            NeedKind::Wash | NeedKind::FeelTest => does(&["C02", "C05"]),
            NeedKind::SaltFlush => does(&["B11"]),
            NeedKind::SpotRemoval | NeedKind::FrontWash => {
                need.contaminants.iter().all(|contaminant| package.treats.contains(contaminant))
            }
            NeedKind::Protection => {
                let laid_by = need.coat.as_ref().and_then(|coat| self.laid_by.get(coat.protection.as_str()));
                laid_by.is_some_and(|step| does(&[step]))
            }
        }
    }

    /// The fewest packages among those of the needs that meet them all.
    pub fn fewest(&self, needs: &[&Need]) -> Vec<String> {
        let mut packages: Vec<&str> = needs.iter().map(|need| need.package.as_str()).collect();
        packages.sort_unstable();
        packages.dedup();
        for candidate in packages.clone() {
            let others = || packages.iter().filter(|&&other| other != candidate);
            if needs.iter().all(|need| others().any(|other| self.covers(other, need))) {
                packages.retain(|&package| package != candidate);
            }
        }
        packages.into_iter().map(str::to_owned).collect()
    }
}

fn contents<'a>(handbook: &'a Handbook, id: &'a str) -> Contents<'a> {
    let required = |row: &&PackageStep| row.role == PackageRole::Required;
    let rows = || handbook.steps_of(id).filter(required);
    // A step that the package does on other zones only, for instance on glass, takes nothing off the paint.
    let on_its_zones: BTreeSet<&str> =
        rows().filter(|row| row.zone_set.is_none()).map(|row| row.step.as_str()).collect();
    let treats = handbook.accruals.iter().filter(|row| {
        let found = found_steps(handbook, id, row.id);
        row.cleared_by
            .iter()
            .any(|step| on_its_zones.contains(step.as_str()) || found.contains(&step.as_str()))
    });
    Contents {
        id,
        steps: rows().map(|row| row.step.as_str()).collect(),
        treats: treats.map(|row| row.id).collect(),
        for_all: handbook.package(id).is_some_and(|row| row.classes.is_empty()),
    }
}

/// The conditional steps that a finding of the contaminant puts into a plan of the package, as planning does it.
fn found_steps<'a>(handbook: &'a Handbook, package: &str, contaminant: Contaminant) -> Vec<&'a str> {
    let excludes = handbook.package(package).map_or(&[][..], |row| row.excludes.as_slice());
    let called = handbook.triggers.iter().filter(|trigger| {
        trigger.when == TriggerWhen::Found
            && trigger.contaminant == Some(contaminant)
            && trigger.zone_set.is_none()
            && !trigger.needs_approval
            && !trigger.inserts.iter().any(|step| excludes.contains(step))
    });
    called.flat_map(|trigger| trigger.inserts.iter().map(String::as_str)).collect()
}

/// What the customer calls the work.
pub(super) fn work_of(kind: NeedKind) -> &'static str {
    match kind {
        NeedKind::Decontamination => "iron removal",
        NeedKind::Protection => "new protection",
        NeedKind::Wash => "wash",
        NeedKind::SaltFlush => "salt flush",
        NeedKind::FeelTest => "feel test",
        NeedKind::SpotRemoval => "spot removal",
        NeedKind::FrontWash => "front wash",
    }
}
