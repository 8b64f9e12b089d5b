//! The numbers that a shop may change in its handbook, read once and checked, and what each rests on.

use super::UpkeepError;
use super::assumed::{Assumed, Topic};
use crate::handbook::Handbook;

pub(super) struct Norms {
    /// Doses at which to remind, to act, and from which it is late.
    pub dose_remind: f64,
    pub dose_due: f64,
    pub dose_overdue: f64,
    /// Dose that stands for a bag test of grade 0 to 3.
    pub bag_dose: [f64; 4],
    /// Dose added by a delivery through a train yard, grinding beside the car, a week of roadworks.
    pub event_train_yard: f64,
    pub event_grinding: f64,
    pub event_roadworks_week: f64,
    /// Dose per day in a garage while its people are away.
    pub away_per_day: f64,
    /// Least product of life factors.
    pub life_factor_floor: f64,
    /// Full decontaminations in a year; iron removals in a year beside a foundry; times clay touches a surface.
    pub decon_per_year: usize,
    pub iron_per_year_foundry: usize,
    pub clay_per_year: usize,
    /// Days after a repaint in which only shampoo may touch it (R54).
    pub repaint_d: f64,
    /// Above this mean air temperature insects ask for a wash at least so often (R68).
    pub insect_air_c: f64,
    pub insect_cadence_d: f64,
    /// So long without salting and warmer than this, then flush within so many days (R69).
    pub salt_quiet_d: f64,
    pub salt_air_c: f64,
    pub salt_offer_d: f64,
    /// What lands where nobody named a class, and what it is made of.
    pub places: PlaceNorms,
    /// Month factor of road salt above which roads count as salted.
    pub salt_month_from: f64,
    /// Rain in a day that takes loose dirt off, and the share of the dirt that is loose.
    pub rain_reset_mm: f64,
    pub loose_dirt_share: f64,
    /// Trust in the prior and shape of the growth to the limit.
    pub fallout_shape: f64,
    pub fallout_shape_places: f64,
    pub wash_shape: f64,
    /// Risks at which work is due.
    pub risk_decontamination: f64,
    pub risk_spots: f64,
    pub risk_front: f64,
    pub risk_wash: f64,
}

/// How places and driving become a dose.
pub(super) struct PlaceNorms {
    pub dose_outdoors: f64,
    pub shelter_carport: f64,
    pub shelter_garage: f64,
    /// Dose per day of the open street, and the iron deposition that it stands for, mg/(m²·d).
    pub street_dose: f64,
    pub iron_reference_mg_m2_d: f64,
    /// Iron of the car's own brakes that settles on its paint, mg/km, and the share of it on motorways.
    pub brake_iron_mg_km: f64,
    pub brake_wear_motorway: f64,
    pub dose_motorway_100km: f64,
    pub usual_km_per_week: f64,
    pub motorway_high_km_per_week: f64,
    pub garage_low_km_per_week: f64,
    /// Share of what settles on level paint that settles on doors.
    pub steep_share: f64,
    pub sprinkler_hardness_mg_l: f64,
    pub sprinkler_film_um: f64,
    pub sprinkler_wettings_per_week: f64,
    /// Middle of each chloride class, mg/(m²·d), and the trade's factor on the salt part.
    pub chloride_factors: [f64; 4],
}

impl Norms {
    pub fn read(handbook: &Handbook, assumed: &mut Assumed) -> Result<Norms, UpkeepError> {
        let mut read = Reader { handbook, assumed };
        let fallout = Topic::Fallout;
        Ok(Norms {
            dose_remind: read.factor(fallout, "dose_remind", "dose")?,
            dose_due: read.positive(fallout, "dose_due", "dose")?,
            dose_overdue: read.factor(fallout, "dose_overdue", "dose")?,
            bag_dose: [
                read.factor(Topic::BagTest, "bag_dose_0", "dose")?,
                read.factor(Topic::BagTest, "bag_dose_1", "dose")?,
                read.factor(Topic::BagTest, "bag_dose_2", "dose")?,
                read.factor(Topic::BagTest, "bag_dose_3", "dose")?,
            ],
            event_train_yard: read.factor(Topic::Events, "event_train_yard", "dose")?,
            event_grinding: read.factor(Topic::Events, "event_grinding", "dose")?,
            event_roadworks_week: read.factor(Topic::Events, "event_roadworks_week", "dose")?,
            away_per_day: read.factor(Topic::Away, "dose_garaged_away", "dose/d")?,
            life_factor_floor: read.factor(Topic::Life, "life_factor_floor", "1")?,
            decon_per_year: read.factor(fallout, "decon_per_year_max", "1/a")? as usize,
            iron_per_year_foundry: read.factor(fallout, "iron_per_year_max_foundry", "1/a")? as usize,
            clay_per_year: read.factor(fallout, "clay_per_year_max", "1/a")? as usize,
            repaint_d: read.rule("R54", "age_d")?,
            insect_air_c: read.rule("R68", "air_c")?,
            insect_cadence_d: read.rule("R68", "cadence_d")?,
            salt_quiet_d: read.rule("R69", "dry_days")?,
            salt_air_c: read.rule("R69", "air_c")?,
            salt_offer_d: read.rule("R69", "offer_within_d")?,
            places: PlaceNorms::read(&mut read)?,
            salt_month_from: read.factor(Topic::SaltMonths, "salt_month_from", "1")?,
            rain_reset_mm: read.positive(Topic::Rain, "rain_reset_mm", "mm")?,
            loose_dirt_share: read.share(Topic::Rain, "loose_dirt_share")?,
            fallout_shape: read.positive(Topic::Classes, "fallout_shape", "1")?,
            fallout_shape_places: read.positive(Topic::Places, "fallout_shape_places", "1")?,
            wash_shape: read.positive(Topic::Wash, "wash_shape", "1")?,
            risk_decontamination: read.risk(fallout, "risk_target_decontamination")?,
            risk_spots: read.risk(Topic::Spots, "risk_target_spots")?,
            risk_front: read.risk(Topic::Front, "risk_target_front")?,
            risk_wash: read.risk(Topic::Wash, "risk_target_wash")?,
        })
    }
}

impl PlaceNorms {
    fn read(read: &mut Reader) -> Result<PlaceNorms, UpkeepError> {
        let (places, sprinkler) = (Topic::Places, Topic::Sprinkler);
        let street = read.handbook.exposure(super::standing::DEFAULT_EXPOSURE).map(|row| row.dose_per_day);
        let brakes = read.factor(places, "brake_wear_mg_km", "mg/km")?
            * read.share(places, "iron_share_of_brake_wear")?
            * read.share(places, "brake_wear_on_own_paint")?;
        Ok(PlaceNorms {
            dose_outdoors: read.factor(places, "dose_outdoors", "dose/d")?,
            shelter_carport: read.share(places, "shelter_carport")?,
            shelter_garage: read.share(places, "shelter_garage")?,
            street_dose: usable(super::standing::DEFAULT_EXPOSURE.to_owned(), street)?.max(1e-6),
            iron_reference_mg_m2_d: read.positive(places, "iron_reference_mg_m2_d", "mg/(m2 d)")?,
            brake_iron_mg_km: brakes,
            brake_wear_motorway: read.share(places, "brake_wear_motorway")?,
            dose_motorway_100km: read.factor(places, "dose_motorway_100km", "dose")?,
            usual_km_per_week: read.factor(Topic::UsualDriving, "usual_km_per_week", "km")?,
            motorway_high_km_per_week: read.factor(Topic::UsualDriving, "motorway_high_km_per_week", "km")?,
            garage_low_km_per_week: read.factor(Topic::UsualDriving, "garage_low_km_per_week", "km")?,
            steep_share: super::deposition::tilt_share(read.factor(places, "steep_tilt_deg", "deg")?),
            sprinkler_hardness_mg_l: read.factor(sprinkler, "sprinkler_hardness_mg_l", "mg/l")?,
            sprinkler_film_um: read.factor(sprinkler, "sprinkler_film_um", "um")?,
            sprinkler_wettings_per_week: read.factor(sprinkler, "sprinkler_wettings_per_week", "1/week")?,
            chloride_factors: [
                read.factor(Topic::Coast, "chloride_s0", "1")?,
                read.factor(Topic::Coast, "chloride_s1", "1")?,
                read.factor(Topic::Coast, "chloride_s2", "1")?,
                read.factor(Topic::Coast, "chloride_s3", "1")?,
            ],
        })
    }
}

/// Reads and checks numbers, and notes what they rest on.
pub(super) struct Reader<'a> {
    pub handbook: &'a Handbook,
    pub assumed: &'a mut Assumed,
}

impl Reader<'_> {
    pub fn factor(
        &mut self,
        topic: Topic,
        name: &'static str,
        unit: &'static str,
    ) -> Result<f64, UpkeepError> {
        usable(name.to_owned(), Some(self.noted(topic, name, unit)?))
    }

    /// A temperature of the air, which may lie below 0.
    pub fn air_c(&mut self, topic: Topic, name: &'static str) -> Result<f64, UpkeepError> {
        let value = self.noted(topic, name, "degC")?;
        if (-60.0..=60.0).contains(&value) {
            return Ok(value);
        }
        Err(UpkeepError::Norm { name: name.to_owned(), value: Some(value) })
    }

    fn noted(&mut self, topic: Topic, name: &'static str, unit: &'static str) -> Result<f64, UpkeepError> {
        let Some(row) = self.handbook.factors.get(name) else {
            return Err(UpkeepError::Norm { name: name.to_owned(), value: None });
        };
        self.assumed.note_factor(topic, row, name, unit);
        Ok(row.value)
    }

    pub fn positive(
        &mut self,
        topic: Topic,
        name: &'static str,
        unit: &'static str,
    ) -> Result<f64, UpkeepError> {
        self.bounded(topic, name, unit, 0.01, 1e6)
    }

    pub fn share(&mut self, topic: Topic, name: &'static str) -> Result<f64, UpkeepError> {
        self.bounded(topic, name, "1", 0.0, 1.0)
    }

    /// A risk at which to act lies within the 80 % interval.
    pub fn risk(&mut self, topic: Topic, name: &'static str) -> Result<f64, UpkeepError> {
        self.bounded(topic, name, "1", super::learning::LOW, super::learning::HIGH)
    }

    pub fn bounded(
        &mut self,
        topic: Topic,
        name: &'static str,
        unit: &'static str,
        least: f64,
        most: f64,
    ) -> Result<f64, UpkeepError> {
        let value = self.factor(topic, name, unit)?;
        if (least..=most).contains(&value) {
            return Ok(value);
        }
        Err(UpkeepError::Norm { name: name.to_owned(), value: Some(value) })
    }

    fn rule(&self, id: &str, name: &str) -> Result<f64, UpkeepError> {
        usable(format!("{id} {name}"), self.handbook.parameter(id, name))
    }
}

/// No number here is negative or above a million.
fn usable(name: String, value: Option<f64>) -> Result<f64, UpkeepError> {
    match value {
        Some(value) if (0.0..=1e6).contains(&value) => Ok(value),
        value => Err(UpkeepError::Norm { name, value }),
    }
}
