//! Which package meets which need, read off the steps it has for sure.

use crate::handbook::{Handbook, PackageRole};
use crate::upkeep::needs::{Need, NeedKind};
use std::collections::{BTreeMap, BTreeSet};

pub(super) struct Packages<'a> {
    /// Steps that each package does in any case.
    steps: BTreeMap<&'a str, BTreeSet<&'a str>>,
    /// Step that lays each protection.
    laid_by: BTreeMap<&'a str, &'a str>,
}

impl<'a> Packages<'a> {
    pub fn read(handbook: &'a Handbook) -> Packages<'a> {
        let mut steps: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for row in handbook.package_steps.iter().filter(|row| row.role == PackageRole::Required) {
            steps.entry(&row.package).or_default().insert(&row.step);
        }
        let laid_by =
            handbook.protections.iter().filter_map(|row| Some((row.id.as_str(), row.applied_by.as_deref()?)));
        Packages { steps, laid_by: laid_by.collect() }
    }

    /// Whether the package does what the need asks for, as `History::record_job` will read it.
    pub fn covers(&self, package: &str, need: &Need) -> bool {
        if need.package == package {
            return true;
        }
        let Some(steps) = self.steps.get(package) else { return false };
        let does = |list: &[&str]| list.iter().any(|step| steps.contains(step));
        match need.kind {
            NeedKind::Decontamination => does(&["D03"]) && does(&["D05"]),
            NeedKind::Wash | NeedKind::FrontWash | NeedKind::FeelTest => does(&["C02", "C05"]),
            NeedKind::SaltFlush => does(&["B11"]),
            NeedKind::SpotRemoval => false,
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
