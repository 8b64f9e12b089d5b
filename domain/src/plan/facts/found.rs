//! What was found on the vehicle.

use super::Facts;
use crate::handbook::{Step, TriggerWhen};
use crate::inspection::{Contaminant, Finding, Grade};
use crate::vehicle::Zone;

impl Facts<'_> {
    /// The contaminants that a step removes: those on whose ladder it stands.
    pub fn targets(&self, step: &Step) -> &[Contaminant] {
        self.grades.targets(&step.id)
    }

    /// Somebody has looked at the vehicle.
    pub fn inspected(&self) -> bool {
        !self.input.inspection.findings.is_empty()
    }

    pub fn grade(&self, zone: Zone, contaminant: Contaminant) -> Grade {
        self.grades.grade(zone, contaminant)
    }

    /// The grade found on a zone, or while nobody has looked the booked one.
    pub fn grade_or_booked(&self, zone: Zone, contaminant: Contaminant) -> Grade {
        if self.inspected() { self.grade(zone, contaminant) } else { self.booked() }
    }

    pub fn worst(&self, contaminant: Contaminant) -> Grade {
        self.grades.worst(contaminant)
    }

    pub fn worst_on(&self, zone: Zone) -> Grade {
        self.grades.worst_on(zone)
    }

    pub fn worst_found(&self) -> Grade {
        self.grades.worst_of_all()
    }

    pub fn worst_in(&self, contaminant: Contaminant, zone_set: Option<&str>) -> Grade {
        let Some(set) = zone_set else { return self.worst(contaminant) };
        let rows = self.handbook().zone_set(self.input.vehicle.class, set);
        rows.iter().map(|row| self.grade(row.zone, contaminant)).max().unwrap_or(Grade::NONE)
    }

    /// The grade found, or while nobody has looked the booked one.
    pub fn worst_or_booked(&self, contaminant: Contaminant) -> Grade {
        if self.inspected() { self.worst(contaminant) } else { self.booked() }
    }

    pub fn booked(&self) -> Grade {
        self.input.booked_grade.unwrap_or(Grade::TYPICAL)
    }

    /// The grade by which a zone's share of a step is counted: at least light, because the step is done anyway.
    pub fn work_grade(&self, step: &Step, zone: Zone) -> Grade {
        self.work_grades(step)(zone)
    }

    /// The same for many zones.
    pub fn work_grades(&self, step: &Step) -> impl Fn(Zone) -> Grade {
        let targets = self.targets(step);
        let of: &[Contaminant] = if targets.is_empty() { &[Contaminant::Film] } else { targets };
        let found = move |zone| of.iter().map(|&c| self.grade(zone, c)).max().unwrap_or(Grade::NONE);
        let booked = (!self.inspected()).then(|| self.booked());
        move |zone| booked.unwrap_or_else(|| found(zone)).max(Grade::LIGHT)
    }

    /// Scratches deeper than refining takes were seen on a zone that is worked on.
    pub fn is_scratched(&self) -> bool {
        self.zones.iter().any(|z| self.scratched(z.zone))
    }

    /// The same of one zone.
    pub fn scratched(&self, zone: Zone) -> bool {
        self.input.inspection.scratched.contains(&zone)
    }

    /// The step takes scratches out.
    pub fn takes_scratches(&self, step: &Step) -> bool {
        let mut triggers = self.handbook().triggers.iter();
        triggers.any(|t| t.when == TriggerWhen::EtchedOrScratched && t.inserts.contains(&step.id))
    }

    /// Zones that carry a contaminant at `least` or worse.
    pub fn zones_with(&self, contaminant: Contaminant, least: u8) -> Vec<Zone> {
        let on = |zone: &Zone| self.grade(*zone, contaminant).get() >= least;
        self.zones.iter().map(|z| z.zone).filter(on).collect()
    }

    /// Age of the freshest spot, hours.
    pub fn age_h(&self, contaminant: Contaminant) -> Option<f64> {
        self.spots(contaminant).filter_map(|(_, f)| f.age_h).min_by(f64::total_cmp)
    }

    /// The JSON pointer of the first age that a rule would need and nobody has given.
    pub fn missing_age(&self, contaminant: Contaminant) -> Option<String> {
        let mut unknown = self.spots(contaminant).filter(|(_, f)| f.age_h.is_none());
        unknown.next().map(|(index, _)| format!("/inspection/findings/{index}/age_h"))
    }

    /// Findings of a contaminant that is really there, with their place in the list.
    fn spots(&self, contaminant: Contaminant) -> impl Iterator<Item = (usize, &Finding)> {
        let all = self.input.inspection.findings.iter().enumerate();
        all.filter(move |(_, f)| {
            f.contaminant == contaminant && f.grade > Grade::NONE && !self.left_out(f.zone)
        })
    }

    /// Hours until a contaminant marks the paint at a panel temperature; longer under a sound coat.
    pub fn damage_h(&self, contaminant: Contaminant, panel_c: f64) -> Option<f64> {
        let bare_h = self.handbook().contaminant(contaminant)?.damage_h(panel_c)?;
        let coated = !self.input.vehicle.coats.is_empty();
        Some(if coated { bare_h * self.factor("sound_coat_damage_factor") } else { bare_h })
    }
}
