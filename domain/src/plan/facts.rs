//! What is known before planning: the input, looked up in the handbook and asked in the planner's words.

use super::climate::{Climate, PanelState};
use super::draft::{Draft, Work};
use super::{PlanError, PlanInput};
use crate::handbook::{
    Basis, Chemistry, Face as HandbookFace, Handbook, Orientation, Package, PackageStep, ProductRole,
    Protection, Reach, Step, StepProduct, ZoneChoice, ZoneRow,
};
use crate::hazard;
use crate::inspection::{Contaminant, Grade};
use crate::site::WeatherHour;
use crate::site::sun::Face;
use crate::vehicle::{Substrate, Zone};
use chrono::{NaiveDateTime, TimeDelta};

/// The input and what the handbook says of it.
#[derive(Debug, Clone)]
pub(crate) struct Facts<'a> {
    pub input: &'a PlanInput<'a>,
    pub package: &'a Package,
    pub entries: Vec<&'a PackageStep>,
    pub zones: Vec<ZoneFacts<'a>>,
    pub climate: Climate<'a>,
}

/// One zone of this vehicle.
#[derive(Debug, Clone)]
pub(crate) struct ZoneFacts<'a> {
    pub zone: Zone,
    pub row: &'a ZoneRow,
    pub substrate: Substrate,
    pub inclusions: &'a [Substrate],
    pub faces: Vec<Face>,
}

impl<'a> Facts<'a> {
    pub fn new(input: &'a PlanInput<'a>) -> Result<Facts<'a>, PlanError> {
        let package = input
            .handbook
            .package(input.package)
            .ok_or_else(|| PlanError::new("/package", format!("there is no package {}", input.package)))?;
        let entries = input.handbook.steps_of(input.package).collect();
        let zones =
            input.handbook.zones_of(input.vehicle.class).map(|row| ZoneFacts::of(row, input)).collect();
        let climate =
            Climate::new(input.vehicle, input.inspection, input.site, input.weather, input.utc_offset_min);
        Ok(Facts { input, package, entries, zones, climate })
    }

    pub fn handbook(&self) -> &'a Handbook {
        self.input.handbook
    }

    /// A number of a rule; a shop's handbook was checked to hold them all, so the standard one is never needed.
    pub fn limit(&self, rule: &str, name: &str) -> f64 {
        let standard = || Handbook::standard().parameter(rule, name);
        self.handbook().parameter(rule, name).or_else(standard).unwrap_or(f64::NAN)
    }

    pub fn factor(&self, name: &str) -> f64 {
        let standard = || Handbook::standard().factor(name);
        self.handbook().factor(name).or_else(standard).unwrap_or(f64::NAN)
    }

    pub fn done(&self, step: &str) -> bool {
        self.input.done.iter().any(|d| d == step)
    }

    pub fn zone(&self, zone: Zone) -> Option<&ZoneFacts<'a>> {
        self.zones.iter().find(|z| z.zone == zone)
    }

    /// A step of the handbook as work on this vehicle, without amounts and without a place in time.
    pub fn work(&self, step: &str) -> Option<Work<'a>> {
        let step = self.handbook().step(step)?;
        let entry = self.entries.iter().find(|e| e.step == step.id);
        let set = entry.and_then(|e| e.zone_set.as_deref()).unwrap_or(&step.zone_set);
        Some(Work::new(step, self.zones_of(step, set), self.uses(step), entry.and_then(|e| e.water_l)))
    }

    /// The zones of a set that the vehicle has; of a step against something found, those where it was found.
    fn zones_of(&self, step: &Step, set: &str) -> Vec<Zone> {
        let mut rows = self.handbook().zone_set(self.input.vehicle.class, set);
        rows.sort_by_key(|row| row.wash_rank);
        let all: Vec<Zone> = rows.iter().map(|row| row.zone).collect();
        if step.zone_choice != ZoneChoice::Found {
            return all;
        }
        let targets = self.targets(step);
        let on = |zone: &Zone| targets.iter().any(|&c| self.grade(*zone, c) > Grade::NONE);
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

    /// The contaminants that a step removes: those on whose ladder it stands.
    pub fn targets(&self, step: &Step) -> Vec<Contaminant> {
        let ladder = self.handbook().contaminants.iter().filter(|row| row.ladder_steps.contains(&step.id));
        ladder.map(|row| row.id).collect()
    }

    // ---- what was found ----

    pub fn inspected(&self) -> bool {
        !self.input.inspection.findings.is_empty()
    }

    pub fn grade(&self, zone: Zone, contaminant: Contaminant) -> Grade {
        self.input.inspection.grade(zone, contaminant)
    }

    pub fn worst(&self, contaminant: Contaminant) -> Grade {
        self.input.inspection.worst(contaminant)
    }

    pub fn worst_on(&self, zone: Zone) -> Grade {
        let findings = self.input.inspection.findings.iter().filter(|f| f.zone == zone);
        findings.map(|f| f.working_grade()).max().unwrap_or(Grade::NONE)
    }

    pub fn worst_found(&self) -> Grade {
        self.input.inspection.findings.iter().map(|f| f.working_grade()).max().unwrap_or(Grade::NONE)
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
        if !self.inspected() {
            return self.booked().max(Grade::LIGHT);
        }
        let targets = self.targets(step);
        let film = [Contaminant::Film];
        let of: &[Contaminant] = if targets.is_empty() { &film } else { &targets };
        of.iter().map(|&c| self.grade(zone, c)).max().unwrap_or(Grade::NONE).max(Grade::LIGHT)
    }

    /// Age of the freshest spot, hours.
    pub fn age_h(&self, contaminant: Contaminant) -> Option<f64> {
        let spots = self.input.inspection.findings.iter().filter(|f| f.contaminant == contaminant);
        spots.filter_map(|f| f.age_h).min_by(f64::total_cmp)
    }

    /// Steps that the findings added to what was booked; soaks against etching are done without asking.
    pub fn extra_steps(&self, draft: &Draft) -> Vec<String> {
        const WITHOUT_ASKING: [&str; 4] = ["B07", "B08", "B11", "D14"];
        draft.which(|w| {
            let id = w.step.id.as_str();
            let required =
                self.entries.iter().any(|e| e.step == id && e.role == crate::handbook::PackageRole::Required);
            let triggered = w.reasons.iter().any(|r| r.id.starts_with('T'));
            triggered
                && !required
                && !WITHOUT_ASKING.contains(&id)
                && !self.input.options.iter().any(|o| o == id)
        })
    }

    // ---- hours and panels ----

    pub fn at(&self, minutes: f64) -> NaiveDateTime {
        self.input.start + TimeDelta::seconds((minutes * 60.0) as i64)
    }

    pub fn hour(&self, at: NaiveDateTime) -> Option<&'a WeatherHour> {
        self.input.weather.at(at)
    }

    pub fn reading(&self, zone: Zone) -> Option<f64> {
        self.climate.reading(zone)
    }

    pub fn panel(&self, zone: Zone, minutes: f64, shaded: bool) -> Option<PanelState> {
        let here = self.zone(zone)?;
        self.climate.panel(zone, here.substrate, &here.faces, self.at(minutes), shaded)
    }

    pub fn in_sun(&self, zone: Zone, minutes: f64, shaded: bool) -> bool {
        !shaded && self.panel(zone, minutes, shaded).is_some_and(|p| p.sunlit)
    }

    /// Weather hours from the start to the end that the norms let expect.
    pub fn hours_of_job(&self, draft: &Draft) -> impl Iterator<Item = &'a WeatherHour> {
        self.hours_between(self.input.start, self.expected_end(draft))
    }

    /// Weather hours from the start to the end on the clock.
    pub fn hours_on_the_clock(&self, draft: &Draft) -> impl Iterator<Item = &'a WeatherHour> {
        self.hours_between(self.input.start, self.at(draft.end_min()))
    }

    fn hours_between(&self, from: NaiveDateTime, to: NaiveDateTime) -> impl Iterator<Item = &'a WeatherHour> {
        let weather = self.input.weather;
        weather.hours.iter().filter(move |h| h.at + TimeDelta::hours(1) > from && h.at < to)
    }

    /// Before anything is scheduled: person-minutes shared by the crew.
    pub fn expected_end(&self, draft: &Draft) -> NaiveDateTime {
        let minutes: f64 = draft.work.iter().map(|w| super::amounts::minutes(self, w)).sum();
        self.at(minutes / self.input.crew.len().max(1) as f64)
    }

    /// Humidity and the least distance above the dew point while protections are laid.
    pub fn damp(&self, draft: &Draft) -> Option<(f64, Option<f64>)> {
        let end = self.expected_end(draft);
        let hour = self.hour(end)?;
        let minutes = (end - self.input.start).num_minutes() as f64;
        let near =
            [Zone::Roof, Zone::Bonnet, Zone::Doors].iter().filter_map(|&z| self.panel(z, minutes, false));
        Some((hour.humidity, near.map(|p| p.dew_margin_k).min_by(f64::total_cmp)))
    }

    pub fn sunset(&self) -> Option<NaiveDateTime> {
        self.climate.sunset(self.input.start)
    }

    // ---- vehicle and place ----

    pub fn zones_on_platform(&self) -> Vec<Zone> {
        self.zones.iter().filter(|z| z.row.reach == Reach::Platform).map(|z| z.zone).collect()
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

    /// Washer, blower, polisher, vacuum.
    pub fn noisy(&self, work: &Work) -> bool {
        work.step.power || self.by_washer() && work.step.equipment_any.iter().any(|e| e == "pressure_washer")
    }

    pub fn rinseless(&self) -> bool {
        self.entries.iter().any(|e| e.step == "C05")
    }

    // ---- chemistry ----

    pub fn uses_chemistry(&self, work: &Work, groups: &[Chemistry]) -> bool {
        let of = |id: &str| self.handbook().product(id).map_or(&[][..], |p| p.chemistry.as_slice());
        work.products.iter().any(|used| of(&used.product).iter().any(|c| groups.contains(c)))
    }

    pub fn must_be_collected(&self, work: &Work) -> bool {
        const NAMED: [&str; 2] = ["biocide_moss", "cement_dissolver"];
        work.step.id == "D13"
            || self.uses_chemistry(work, &[Chemistry::Acid])
            || work.products.iter().any(|used| NAMED.contains(&used.product.as_str()))
    }

    pub fn corrosive(&self, product: &str) -> bool {
        let Some(class) = self.handbook().product(product) else { return false };
        let ends = [class.ph_neat_min, class.ph_neat_max];
        ends.iter().flatten().any(|&ph| hazard::is_corrosive_ph(ph).unwrap_or(false))
    }

    pub fn banned(&self, product: &str) -> bool {
        self.handbook()
            .product(product)
            .is_some_and(|p| p.banned || p.chemistry.contains(&Chemistry::Fluoride))
    }

    pub fn on_paint(&self, work: &Work) -> bool {
        work.zones.iter().any(|&z| self.zone(z).is_some_and(|f| f.substrate.is_paint()))
    }

    /// How much protection a step takes off, 0 to 3.
    pub fn strips(&self, work: &Work) -> u8 {
        let of = |id: &str| self.handbook().product(id).and_then(|p| p.strips_protection).unwrap_or(0);
        if self.on_paint(work) {
            work.products.iter().map(|used| of(&used.product)).max().unwrap_or(0)
        } else {
            0
        }
    }

    /// Alkaline products may not touch the vehicle's paint.
    pub fn forbids_strong_alkali(&self) -> bool {
        self.product_forbidden("apc_alkaline", self.input.vehicle.finish)
    }

    pub fn product_forbidden(&self, product: &str, substrate: Substrate) -> bool {
        let by_substrate = self.handbook().substrate(substrate).is_some_and(|row| {
            let chemistry = self.handbook().product(product).map_or(&[][..], |p| p.chemistry.as_slice());
            row.forbids_products.iter().any(|ban| ban.id == product && ban.is_absolute())
                || row.forbids_chemistry.iter().any(|c| chemistry.contains(c))
        });
        let by_product = self.handbook().product(product).is_some_and(|p| {
            let word = crate::handbook::word(&substrate);
            p.forbidden_on.iter().any(|ban| ban.id == word && ban.is_absolute())
        });
        by_substrate || by_product
    }

    pub fn step_forbidden(&self, step: &Step, substrate: Substrate) -> bool {
        let row = self.handbook().substrate(substrate);
        row.is_some_and(|row| row.forbids_steps.iter().any(|ban| ban.id == step.id && ban.is_absolute()))
    }

    /// The protection that a step lays with its main product.
    pub fn protection_of(&self, step: &str) -> Option<&'a Protection> {
        self.handbook().protections.iter().find(|p| p.applied_by.as_deref() == Some(step))
    }

    /// Another product of the same chemistry on board that is enough.
    pub fn substitute(&self, product: &str, need_ml: f64) -> Option<String> {
        let wanted = self.handbook().product(product)?;
        let fits = |id: &str| {
            self.handbook().product(id).is_some_and(|other| {
                other.id != wanted.id
                    && !other.banned
                    && other.chemistry == wanted.chemistry
                    && same_ph(other, wanted)
            })
        };
        let stock = &self.input.kit.stock_ml;
        stock.iter().find(|(id, have_ml)| fits(id) && **have_ml >= need_ml).map(|(id, _)| id.clone())
    }
}

/// Neat pH ranges that overlap, or neither has one.
fn same_ph(one: &crate::handbook::ProductClass, other: &crate::handbook::ProductClass) -> bool {
    match (one.ph_neat_min, one.ph_neat_max, other.ph_neat_min, other.ph_neat_max) {
        (Some(a), Some(b), Some(c), Some(d)) => a <= d && c <= b,
        (None, None, None, None) => true,
        _ => false,
    }
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
        }
    }
}

/// The sides of the vehicle a zone looks to; recesses see no sun and count as shaded sides.
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
    if row.orientation == Orientation::Horizontal && faces.is_empty() {
        faces.push(Face::Top);
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
