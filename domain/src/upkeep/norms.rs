//! The numbers that a shop may change in its handbook, read once and checked.

use super::UpkeepError;
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
    /// Share of the life used at which to remind and to renew.
    pub life_remind: f64,
    pub life_due: f64,
    /// Share of the life that high beads on every panel buy.
    pub bead_postpone: f64,
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
}

impl Norms {
    pub fn read(handbook: &Handbook) -> Result<Norms, UpkeepError> {
        let factor = |name: &str| usable(name.to_owned(), handbook.factor(name));
        let rule = |id: &str, name: &str| usable(format!("{id} {name}"), handbook.parameter(id, name));
        Ok(Norms {
            dose_remind: factor("dose_remind")?,
            dose_due: factor("dose_due")?,
            dose_overdue: factor("dose_overdue")?,
            bag_dose: [
                factor("bag_dose_0")?,
                factor("bag_dose_1")?,
                factor("bag_dose_2")?,
                factor("bag_dose_3")?,
            ],
            event_train_yard: factor("event_train_yard")?,
            event_grinding: factor("event_grinding")?,
            event_roadworks_week: factor("event_roadworks_week")?,
            away_per_day: factor("dose_garaged_away")?,
            life_factor_floor: factor("life_factor_floor")?,
            life_remind: factor("life_remind")?,
            life_due: factor("life_due")?,
            bead_postpone: factor("bead_postpone_share")?,
            decon_per_year: factor("decon_per_year_max")? as usize,
            iron_per_year_foundry: factor("iron_per_year_max_foundry")? as usize,
            clay_per_year: factor("clay_per_year_max")? as usize,
            repaint_d: rule("R54", "age_d")?,
            insect_air_c: rule("R68", "air_c")?,
            insect_cadence_d: rule("R68", "cadence_d")?,
            salt_quiet_d: rule("R69", "dry_days")?,
            salt_air_c: rule("R69", "air_c")?,
            salt_offer_d: rule("R69", "offer_within_d")?,
        })
    }
}

/// No number here is negative or above a million.
fn usable(name: String, value: Option<f64>) -> Result<f64, UpkeepError> {
    match value {
        Some(value) if (0.0..=1e6).contains(&value) => Ok(value),
        value => Err(UpkeepError::Norm { name, value }),
    }
}
