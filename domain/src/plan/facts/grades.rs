//! The findings as a table, looked up by every step and rule.

use crate::inspection::{Contaminant, Grade};
use crate::plan::PlanInput;
use crate::vehicle::Zone;
use std::collections::BTreeMap;

/// As many as there are in either enum, or a few more.
const ZONES: usize = 32;
const CONTAMINANTS: usize = 24;

/// Working grades by zone and contaminant, and the contaminants that each step removes.
#[derive(Debug, Clone)]
pub(super) struct Grades<'a> {
    by_zone: [[Grade; CONTAMINANTS]; ZONES],
    worst: [Grade; CONTAMINANTS],
    targets: BTreeMap<&'a str, Vec<Contaminant>>,
}

impl<'a> Grades<'a> {
    /// Of the zones that are worked on.
    pub fn new(input: &PlanInput<'a>, worked_on: impl Fn(Zone) -> bool) -> Grades<'a> {
        let mut by_zone = [[Grade::NONE; CONTAMINANTS]; ZONES];
        let mut worst = [Grade::NONE; CONTAMINANTS];
        let told_worse = input.handbook.told_worse();
        for finding in input.inspection.findings.iter().filter(|finding| worked_on(finding.zone)) {
            let grade = finding.working_grade(told_worse);
            let of = finding.contaminant as usize;
            for seen in [&mut by_zone[finding.zone as usize][of], &mut worst[of]] {
                *seen = grade.max(*seen);
            }
        }
        let mut targets: BTreeMap<&str, Vec<Contaminant>> = BTreeMap::new();
        for row in &input.handbook.contaminants {
            for step in &row.ladder_steps {
                targets.entry(step).or_default().push(row.id);
            }
        }
        Grades { by_zone, worst, targets }
    }

    pub fn grade(&self, zone: Zone, contaminant: Contaminant) -> Grade {
        self.by_zone[zone as usize][contaminant as usize]
    }

    pub fn worst(&self, contaminant: Contaminant) -> Grade {
        self.worst[contaminant as usize]
    }

    pub fn worst_on(&self, zone: Zone) -> Grade {
        self.by_zone[zone as usize].into_iter().max().unwrap_or(Grade::NONE)
    }

    pub fn worst_of_all(&self) -> Grade {
        self.worst.into_iter().max().unwrap_or(Grade::NONE)
    }

    /// The contaminants on whose ladder a step stands.
    pub fn targets(&self, step: &str) -> &[Contaminant] {
        self.targets.get(step).map_or(&[], Vec::as_slice)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_zone_and_contaminant_has_its_place() {
        // The last of either enum; a longer enum must make the table longer.
        assert!((Zone::WheelArch as usize) < ZONES && (Contaminant::Oxidation as usize) < CONTAMINANTS);
    }
}
