//! What is known before planning: the input, looked up in the handbook and asked in the planner's words.

mod expected;
mod found;
mod grades;
mod hours;
mod surface;

pub(crate) use surface::{Fit, same_ph};

use self::grades::Grades;
use super::climate::Climate;
use super::draft::{Draft, Work};
use super::schedule::Splits;
use super::waiver::left_out;
use super::{PlanError, PlanInput};
use crate::handbook::{
    Basis, Face as HandbookFace, Handbook, Orientation, Package, PackageRole, PackageStep, ProductRole,
    Protection, Reach, Severity, Step, StepProduct, ZoneChoice, ZoneRow,
};
use crate::inspection::Grade;
use crate::site::sun::Face;
use crate::vehicle::{Substrate, Zone};
use std::rc::Rc;

/// The input and what the handbook says of it.
#[derive(Debug, Clone)]
pub(crate) struct Facts<'a> {
    pub input: &'a PlanInput<'a>,
    pub package: &'a Package,
    pub entries: Vec<&'a PackageStep>,
    pub zones: Vec<ZoneFacts<'a>>,
    pub climate: Climate<'a>,
    /// Crew splits that were made before.
    pub splits: Rc<Splits>,
    grades: Grades<'a>,
}

/// One zone of this vehicle.
#[derive(Debug, Clone)]
pub(crate) struct ZoneFacts<'a> {
    pub zone: Zone,
    pub row: &'a ZoneRow,
    pub substrate: Substrate,
    pub inclusions: &'a [Substrate],
    /// The sides it looks to; a recess lies in the shade of the vehicle itself.
    pub faces: Vec<Face>,
    pub recess: bool,
}

impl<'a> Facts<'a> {
    pub fn new(input: &'a PlanInput<'a>) -> Result<Facts<'a>, PlanError> {
        let package = input
            .handbook
            .package(input.package)
            .ok_or_else(|| PlanError::new("/package", format!("there is no package {}", input.package)))?;
        let entries = input.handbook.steps_of(input.package).collect();
        let zones = input.handbook.zones_of(input.vehicle.class).filter(|row| !left_out(input, row.zone));
        let zones = zones.map(|row| ZoneFacts::of(row, input)).collect();
        let climate = Climate::new(input);
        let grades = Grades::new(input, |zone| !left_out(input, zone));
        Ok(Facts { input, package, entries, zones, climate, splits: Rc::default(), grades })
    }

    /// The same job at another start: `input` differs in start, offset and window only.
    pub fn at_start<'s>(&self, input: &'s PlanInput<'s>) -> Facts<'s>
    where
        'a: 's,
    {
        let Facts { package, entries, zones, climate, splits, grades, .. } = self.clone();
        Facts {
            input,
            package,
            entries,
            zones,
            climate: climate.on_clock(input.utc_offset_min),
            splits,
            grades,
        }
    }

    pub fn handbook(&self) -> &'a Handbook {
        self.input.handbook
    }

    /// A number of a rule; a shop's handbook was checked to hold them all, so the standard one is never needed.
    pub fn limit(&self, rule: &str, name: &str) -> f64 {
        let standard = || Handbook::standard().parameter(rule, name);
        self.handbook().parameter(rule, name).or_else(standard).unwrap_or(f64::NAN)
    }

    /// How hard a rule is, as the shop has it.
    pub fn severity(&self, rule: &str) -> Severity {
        self.handbook().rule(rule).map_or(Severity::Adjust, |row| row.severity)
    }

    pub fn factor(&self, name: &str) -> f64 {
        let standard = || Handbook::standard().factor(name);
        self.handbook().factor(name).or_else(standard).unwrap_or(f64::NAN)
    }

    // ---- steps ----

    pub fn done(&self, step: &str) -> bool {
        self.input.done.iter().any(|d| d == step)
    }

    pub fn entry(&self, step: &str) -> Option<&'a PackageStep> {
        self.entries.iter().copied().find(|e| e.step == step)
    }

    /// The package is not itself without it: required, or chosen in the place of a required one.
    pub fn required(&self, step: &str) -> bool {
        self.entry(step).is_some_and(|e| e.role != PackageRole::Optional)
    }

    /// The other steps of the package that may stand in its place, in list order.
    pub fn choices(&self, step: &str) -> Vec<&'a str> {
        let Some(entry) = self.entry(step).filter(|e| !e.choice.is_empty()) else { return Vec::new() };
        let same = self.entries.iter().filter(|e| e.choice == entry.choice && e.step != entry.step);
        same.map(|e| e.step.as_str()).collect()
    }

    /// The order of the handbook, in which steps are listed until pairs place them.
    pub fn place(&self, work: &Work) -> usize {
        self.handbook().steps.place(&work.step.id).unwrap_or(usize::MAX)
    }

    /// A step of the handbook as work on this vehicle, without amounts and without a place in time; none when all
    /// its zones are left out.
    pub fn work(&self, step: &str) -> Option<Work<'a>> {
        let step = self.handbook().step(step)?;
        let entry = self.entry(&step.id);
        let set = entry.and_then(|e| e.zone_set.as_deref()).unwrap_or(&step.zone_set);
        let all = self.zones_of(step, set);
        let zones: Vec<Zone> = all.iter().copied().filter(|&zone| !self.left_out(zone)).collect();
        let water_l = entry.and_then(|e| e.water_l);
        (all.is_empty() || !zones.is_empty()).then(|| Work::new(step, zones, self.uses(step), water_l))
    }

    /// The zones of a set that the vehicle has; of a step against something found, those where it was found.
    fn zones_of(&self, step: &Step, set: &str) -> Vec<Zone> {
        let mut rows = self.handbook().zone_set(self.input.vehicle.class, set);
        rows.sort_by_key(|row| row.wash_rank);
        let all = self.as_met(&step.id, rows.iter().map(|row| row.zone).collect());
        if step.zone_choice != ZoneChoice::Found {
            return all;
        }
        let (targets, scratches) = (self.targets(step), self.takes_scratches(step));
        let on = |zone: &Zone| {
            targets.iter().any(|&c| self.grade(*zone, c) > Grade::NONE) || scratches && self.scratched(*zone)
        };
        let everywhere = self.zones.iter().map(|z| z.zone).filter(on);
        let found: Vec<Zone> =
            all.iter().copied().filter(on).chain(everywhere.filter(|z| !all.contains(z))).collect();
        if found.is_empty() { all } else { found }
    }

    /// The products of a step on this vehicle: the main one, or its stand-in where the findings name one.
    fn uses(&self, step: &Step) -> Vec<&'a StepProduct> {
        let products = self.handbook().step_products.iter().filter(|used| used.step == step.id);
        let wanted = |used: &&StepProduct| {
            used.role != ProductRole::Instead
                && (used.against.is_empty() || used.against.iter().any(|&c| self.worst(c) > Grade::NONE))
        };
        products.filter(wanted).collect()
    }

    /// The main product's rows of a step other than this one: what may be used in its place.
    pub fn stand_ins(&self, row: &StepProduct) -> impl Iterator<Item = &'a StepProduct> {
        let (id, step, product) = (row.id.clone(), row.step.clone(), row.product.clone());
        self.handbook().step_products.iter().filter(move |other| {
            other.step == step
                && other.id != id
                && other.product != product
                && other.role != ProductRole::Also
                && other.against.is_empty()
        })
    }

    // ---- van and place ----

    pub fn zone(&self, zone: Zone) -> Option<&ZoneFacts<'a>> {
        self.zones.iter().find(|z| z.zone == zone)
    }

    pub fn zones_within(&self, reach: Reach) -> Vec<Zone> {
        self.zones.iter().filter(|z| z.row.reach == reach).map(|z| z.zone).collect()
    }

    pub fn carries(&self, equipment: &str) -> bool {
        self.input.kit.equipment.iter().any(|e| e == equipment)
    }

    pub fn by_washer(&self) -> bool {
        self.carries("pressure_washer")
    }

    pub fn has_generator(&self) -> bool {
        self.carries("generator") && self.input.site.generator_allowed != Some(false)
    }

    /// Machines would run from the generator.
    pub fn on_generator(&self) -> bool {
        self.carries("generator") && self.input.kit.battery_kwh <= 0.0 && self.input.site.mains != Some(true)
    }

    /// Washer, blower, polisher or vacuum is running.
    pub fn noisy(&self, work: &Work) -> bool {
        work.step.power || self.by_washer() && work.step.runs_water()
    }

    /// Under a roof: no wind, no rain, no sky.
    pub fn sheltered(&self) -> bool {
        self.input.site.covered == Some(true)
    }

    pub fn rinseless(&self) -> bool {
        self.entries.iter().any(|e| e.step == "C05")
    }

    /// The protection that a step lays.
    pub fn protection_of(&self, step: &str) -> Option<&'a Protection> {
        self.handbook().protections.iter().find(|p| p.applied_by.as_deref() == Some(step))
    }
}

/// Names for people, for instance `roof, bonnet`.
pub(crate) fn names(zones: &[Zone]) -> String {
    zones.iter().map(|z| z.name()).collect::<Vec<_>>().join(", ")
}

impl<'a> ZoneFacts<'a> {
    fn of(row: &'a ZoneRow, input: &'a PlanInput<'a>) -> ZoneFacts<'a> {
        let vehicle = input.vehicle;
        let own = vehicle.surfaces.iter().find(|s| s.zone == row.zone);
        let usual = if row.default_substrate == Substrate::ClearCoat {
            vehicle.finish
        } else {
            row.default_substrate
        };
        ZoneFacts {
            zone: row.zone,
            row,
            substrate: own.map_or(usual, |s| s.substrate),
            inclusions: own.map_or(&[], |s| s.inclusions.as_slice()),
            faces: faces(row),
            recess: row.orientation == Orientation::Recess,
        }
    }

    /// What it is made of, and what is set into it.
    pub fn materials(&self) -> impl Iterator<Item = Substrate> + use<'_, 'a> {
        self.inclusions.iter().copied().chain([self.substrate])
    }

    /// Water from this zone runs over `lower`.
    pub fn drips_on(&self, lower: &ZoneFacts) -> bool {
        let same_side = self.faces.iter().any(|f| *f == Face::Top || lower.faces.contains(f));
        self.row.drip_level < lower.row.drip_level && same_side
    }
}

/// The sides of the vehicle a zone looks to.
fn faces(row: &ZoneRow) -> Vec<Face> {
    let mut faces = Vec::new();
    for face in &row.faces {
        match face {
            HandbookFace::Top => faces.push(Face::Top),
            HandbookFace::Front => faces.push(Face::Front),
            HandbookFace::Rear => faces.push(Face::Rear),
            HandbookFace::Side => faces.extend([Face::Left, Face::Right]),
        }
    }
    if faces.is_empty() {
        let sides: &[Face] = match row.orientation {
            Orientation::Horizontal => &[Face::Top],
            _ => &[Face::Left, Face::Right],
        };
        faces.extend(sides);
    }
    faces
}

/// m², wheels, spots or vehicles.
pub(crate) fn unit(basis: Basis) -> &'static str {
    match basis {
        Basis::PerM2 => "m2",
        Basis::PerWheel => "wheel",
        Basis::PerSpot => "spot",
        Basis::PerVehicle => "vehicle",
    }
}

impl Facts<'_> {
    /// Steps that the findings added to what was booked; soaks against etching are done without asking.
    pub fn extra_steps(&self, draft: &Draft) -> Vec<String> {
        const WITHOUT_ASKING: [&str; 4] = ["B07", "B08", "B11", "D14"];
        draft.which(|w| {
            let id = w.step.id.as_str();
            let triggered = w.reasons.iter().any(|r| r.id.starts_with('T'));
            triggered
                && !self.required(id)
                && !WITHOUT_ASKING.contains(&id)
                && !self.input.options.iter().any(|o| o == id)
        })
    }
}
