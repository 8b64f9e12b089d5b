//! Where dirt is to be expected before anybody has looked.

use super::Facts;
use crate::inspection::Contaminant;
use crate::vehicle::Zone;

/// Looks for dirt, the worst places first.
const GRADING: &str = "A04";
/// Reads the paint with a gauge, which needs metal below it.
const GAUGING: &str = "F05";

impl Facts<'_> {
    /// The zones of a step as it meets them: grading begins where most is expected, a gauge reads no plastic.
    pub(super) fn as_met(&self, step: &str, mut zones: Vec<Zone>) -> Vec<Zone> {
        if step == GRADING {
            let expected = self.expected();
            zones.sort_by_key(|&zone| std::cmp::Reverse(self.caught(zone, &expected)));
        } else if step == GAUGING {
            zones.retain(|&zone| self.zone(zone).is_none_or(|here| !here.row.on_plastic));
        }
        zones
    }

    /// What the vehicle's exposures lay on it; anything, while nobody has said where it stands.
    fn expected(&self) -> Vec<Contaminant> {
        let handbook = self.handbook();
        let kinds = self.input.vehicle.exposures.iter().filter(|exposure| exposure.share > 0.0);
        let rows = kinds.filter_map(|exposure| handbook.exposure(&exposure.kind));
        let mut adds: Vec<Contaminant> = rows.flat_map(|row| row.adds.iter().copied()).collect();
        if adds.is_empty() {
            adds = handbook.contaminants.iter().map(|row| row.id).collect();
        }
        adds.sort();
        adds.dedup();
        adds
    }

    /// How much of all that a place catches.
    fn caught(&self, zone: Zone, expected: &[Contaminant]) -> u32 {
        let row = self.zone(zone).map(|here| here.row);
        row.map_or(0, |row| expected.iter().map(|&what| u32::from(row.susceptibility(what))).sum())
    }
}
