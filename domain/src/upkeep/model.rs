//! What is the same for all vehicles of a shop: the handbook's numbers, read, checked and prepared once.

use super::UpkeepError;
use super::assumed::Assumed;
use super::classes::Classes;
use super::climate::Climate;
use super::corrosivity::Air;
use super::experience::Experience;
use super::growth::{Growth, Prior};
use super::learning::{GammaPoisson, GammaProcess};
use super::norms::{Norms, Reader};
use super::visits::VisitPlanner;
use super::year::Year;
use crate::handbook::{Accrual, AccrualForm, AccrualNeed, Handbook, SourceRow, SourceUnit};
use crate::inspection::Contaminant;
use crate::parking::SourceKind;
use crate::vehicle::VehicleClass;

pub(super) struct Model<'a> {
    pub handbook: &'a Handbook,
    pub climate: &'a Climate,
    pub norms: Norms,
    pub assumed: Assumed,
    pub gathering: Vec<Gathering<'a>>,
    /// Beliefs of the dose by classes and by places, and of the dirt between washes.
    pub fallout: Prior,
    pub fallout_places: Prior,
    pub wash: Prior,
    pub air: Air,
    /// Road salt by month.
    pub salt: Year,
    pub classes: Classes<'a>,
    pub visits: VisitPlanner<'a>,
    sources: Vec<Source<'a>>,
    painted_m2: Vec<(VehicleClass, f64)>,
}

/// A row of the `sources` table.
pub(super) struct Source<'a> {
    pub row: &'a SourceRow,
    pub topic: u8,
    /// Row of the `accruals` table; none adds to the dose.
    pub gathers: Option<usize>,
}

/// A row of the `accruals` table.
pub(super) struct Gathering<'a> {
    pub row: &'a Accrual,
    pub topic: u8,
    pub year: Year,
    pub prior: Prior,
}

impl<'a> Model<'a> {
    pub fn read(
        handbook: &'a Handbook,
        experience: &Experience,
        climate: &'a Climate,
    ) -> Result<Model<'a>, UpkeepError> {
        climate.check()?;
        let mut assumed = Assumed::default();
        let norms = Norms::read(handbook, &mut assumed)?;
        let read = &mut Reader { handbook, assumed: &mut assumed };
        let air_c = climate.air_c(read)?;
        let air = Air::read(read, &air_c)?;
        let mut gathering = Vec::new();
        for row in &handbook.accruals {
            gathering.push(Gathering {
                prior: prior(row, &norms)?,
                year: Year::read(row, climate)?,
                topic: note_accrual(handbook, row, &mut assumed),
                row,
            });
        }
        let mut sources = Vec::new();
        for row in &handbook.sources {
            sources.push(source(row, &gathering, &mut assumed)?);
        }
        let salt = gathering.iter().find(|g| g.row.id == Contaminant::Salt).map(|g| g.year);
        let salt = salt.ok_or(UpkeepError::Norm { name: "accruals salt".into(), value: None })?;
        let by_classes = GammaProcess::trusting(norms.fallout_shape, norms.dose_due);
        let by_places = by_classes.with_prior_shape(norms.fallout_shape_places);
        let fallout =
            |process| Prior::new(Growth::Amounts(process), norms.dose_due, norms.risk_decontamination);
        let dirt = Growth::Amounts(GammaProcess::trusting(norms.wash_shape, 1.0));
        let painted = |class: VehicleClass| {
            let area: f64 = handbook.zone_set(class, "painted").iter().map(|row| row.area_m2).sum();
            (class, area.max(1.0))
        };
        Ok(Model {
            fallout: fallout(by_classes),
            fallout_places: fallout(by_places),
            wash: Prior::new(dirt, 1.0, norms.risk_wash),
            painted_m2: handbook.vehicle_classes.iter().map(|row| painted(row.id)).collect(),
            classes: Classes::read(handbook, experience, climate, &mut assumed)?,
            visits: VisitPlanner::read(handbook, climate, &air_c, &mut assumed)?,
            air,
            handbook,
            climate,
            norms,
            assumed,
            gathering,
            salt,
            sources,
        })
    }

    pub fn sources_of_class(&self, exposure: &str) -> impl Iterator<Item = &Source<'a>> {
        self.sources.iter().filter(move |source| source.row.exposure == exposure)
    }

    pub fn sources_of_kind(&self, kind: SourceKind) -> impl Iterator<Item = &Source<'a>> {
        self.sources.iter().filter(move |source| source.row.kind == Some(kind))
    }

    /// What falls anywhere in the open.
    pub fn open_sources(&self) -> impl Iterator<Item = &Source<'a>> {
        let street = super::standing::DEFAULT_EXPOSURE;
        self.sources_of_class(street).filter(|source| source.row.kind.is_none())
    }

    /// What flies against it on motorways.
    pub fn road_sources(&self) -> impl Iterator<Item = &Source<'a>> {
        self.sources.iter().filter(|source| source.row.unit == SourceUnit::SpotsM2Per100Km)
    }

    pub fn painted_m2(&self, class: VehicleClass) -> f64 {
        self.painted_m2.iter().find(|(known, _)| *known == class).map_or(10.0, |(_, area)| *area)
    }
}

fn prior(row: &Accrual, norms: &Norms) -> Result<Prior, UpkeepError> {
    let bad = |field, value| UpkeepError::Row { id: row.id.name().into(), field, value };
    if !(0.01..=1e6).contains(&row.limit) {
        return Err(bad("limit", row.limit));
    }
    if !(0.5..=1000.0).contains(&row.shape) {
        return Err(bad("shape", row.shape));
    }
    let amounts = [0.0, row.amount_1, row.amount_2, row.amount_3];
    if !(amounts.is_sorted() && (0.0..=1e6).contains(&row.amount_3)) {
        return Err(bad("amount_3", row.amount_3));
    }
    let growth = match row.form {
        AccrualForm::Counts => Growth::Counts(GammaPoisson::trusting(row.shape)),
        AccrualForm::Amounts => Growth::Amounts(GammaProcess::trusting(row.shape, row.limit)),
    };
    let target = match row.need {
        AccrualNeed::FrontWash => norms.risk_front,
        AccrualNeed::SpotRemoval | AccrualNeed::None => norms.risk_spots,
    };
    Ok(Prior::new(growth, row.limit, target))
}

fn note_accrual(handbook: &Handbook, row: &Accrual, assumed: &mut Assumed) -> u8 {
    let id = handbook.accruals.id(row);
    let number =
        |column: &str, value, unit: &str| (format!("accruals/{id}/{column}"), value, unit.to_owned());
    assumed.note_row(&row.source, &[number("limit", row.limit, &row.unit), number("shape", row.shape, "1")])
}

fn source<'a>(
    row: &'a SourceRow,
    gathering: &[Gathering],
    assumed: &mut Assumed,
) -> Result<Source<'a>, UpkeepError> {
    if !(0.0..=1e6).contains(&row.rate) {
        return Err(UpkeepError::Row { id: row.id.clone(), field: "rate", value: row.rate });
    }
    if let Some(value) = row.scale_m.filter(|scale_m| !(1.0..=1e6).contains(scale_m)) {
        return Err(UpkeepError::Row { id: row.id.clone(), field: "scale_m", value });
    }
    let unit = match row.unit {
        SourceUnit::MgM2D => "mg/(m2 d)",
        SourceUnit::DoseD => "dose/d",
        SourceUnit::SpotsM2D => "spots/(m2 d)",
        SourceUnit::SpotsM2Per100Km => "spots/m2 per 100 km",
        SourceUnit::ResiduesPerWetting => "1",
    };
    let number =
        |column: &str, value, unit: &str| (format!("sources/{}/{column}", row.id), value, unit.to_owned());
    let mut numbers = vec![number("rate", row.rate, unit), number("usual_m", row.usual_m, "m")];
    numbers.extend(row.scale_m.map(|scale_m| number("scale_m", scale_m, "m")));
    let gathers = gathering.iter().position(|g| g.row.id == row.contaminant);
    if gathers.is_none() && row.contaminant != Contaminant::FalloutIron {
        let name = format!("accruals {}", row.contaminant.name());
        return Err(UpkeepError::Norm { name, value: None });
    }
    Ok(Source { row, topic: assumed.note_row(&row.source, &numbers), gathers })
}
