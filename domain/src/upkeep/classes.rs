//! What is known of each class of coats before one of them is looked at: the handbook's spread of lives and what the
//! shop's own vehicles taught.

use super::answer::{EvidenceSeen, GammaBelief, Learning, LearningForm};
use super::assumed::{Assumed, Topic, Topics};
use super::clock::Clock;
use super::experience::{Experience, LivesSeen};
use super::life::Life;
use super::norms::Reader;
use super::profile::Layer;
use super::wear::Chemistry;
use super::{Climate, UpkeepError};
use crate::handbook::{Handbook, Protection};
use std::collections::HashMap;

/// The numbers of the handbook about coats.
pub(super) struct CoatNorms {
    /// Lives seen that the handbook's spread is worth.
    prior_lives: f64,
    /// Reliability at which renewal is due.
    reliability: f64,
    /// Cost of a renewal after the end of the old coat, as a multiple of one before it; 1 or less: not given.
    late_cost_ratio: f64,
    /// Share of the age of renewal at which to remind, and from which it is late.
    pub remind: f64,
    pub overdue: f64,
    /// Part of the usual life that high beads on every panel buy.
    pub bead_postpone: f64,
    /// Chance that a sound coat shows low beads because it is clogged.
    pub clogged: f64,
    /// Chance that a bead test misleads about a clean coat, either way.
    pub misread: f64,
    /// Days after a low bead test, or after it was taken off, from which renewal is late.
    pub low_late_d: f64,
}

impl CoatNorms {
    fn read(read: &mut Reader) -> Result<CoatNorms, UpkeepError> {
        let coats = Topic::Coats;
        Ok(CoatNorms {
            prior_lives: read.bounded(coats, "life_prior_lives", "lives", 0.1, 1e6)?,
            reliability: 1.0 - read.risk(coats, "risk_target_protection")?,
            late_cost_ratio: read.factor(Topic::LateRenewal, "late_renewal_cost_ratio", "1")?,
            remind: read.share(coats, "life_remind")?,
            overdue: read.bounded(coats, "life_overdue", "1", 1.0, 100.0)?,
            bead_postpone: read.factor(Topic::BeadTest, "bead_postpone_share", "1")?,
            clogged: read.bounded(Topic::BeadTest, "bead_clogged_share", "1", 0.001, 0.999)?,
            misread: read.bounded(Topic::BeadTest, "bead_misread_share", "1", 0.001, 0.999)?,
            low_late_d: read.factor(Topic::BeadTest, "bead_low_late_d", "days")?,
        })
    }
}

/// A class of coats. Ages are parts of the handbook's usual life.
pub(super) struct Class {
    prior: Life,
    seen: LivesSeen,
    pub life: Life,
    /// Where half of the coats have ended before anything was learned this is 1.
    pub renew_at: f64,
    /// Where late renewals cost more: the age at which renewing is cheapest.
    pub cheapest: Option<f64>,
}

impl Class {
    fn new(row: &Protection, norms: &CoatNorms, seen: LivesSeen) -> Result<Class, UpkeepError> {
        let prior = prior(row, norms)?;
        let life = prior.updated(f64::from(seen.ended), seen.sum_tau_beta);
        let ratio = norms.late_cost_ratio;
        let cheapest = match (ratio > 1.0, &row.refresh_with) {
            (false, _) => None,
            // What is topped up after it failed is mended and no younger.
            (true, Some(_)) => Some(life.cheapest_renewal_when_mended(ratio)),
            (true, None) => life.cheapest_renewal(ratio),
        };
        let at_target = life.age_at(norms.reliability);
        Ok(Class {
            prior,
            seen,
            life,
            renew_at: cheapest.map_or(at_target, |age| age.min(at_target)),
            cheapest,
        })
    }

    pub fn learning(&self) -> Learning {
        let belief = |life: &Life| GammaBelief { shape: life.count, scale: life.total };
        let evidence = EvidenceSeen {
            readings: self.seen.ended + self.seen.censored,
            censored: self.seen.censored,
            exposure: self.seen.sum_tau_beta,
            amount: f64::from(self.seen.ended),
        };
        let (prior, posterior) = (belief(&self.prior), belief(&self.life));
        Learning { form: LearningForm::WeibullGamma, prior, evidence, posterior }
    }
}

/// The handbook's least, usual and greatest life as the 10, 50 and 90 % of lives: see [`Life::from_spread`].
fn prior(row: &Protection, norms: &CoatNorms) -> Result<Life, UpkeepError> {
    let bad = |field, value| Err(UpkeepError::Row { id: row.id.clone(), field, value });
    if !(0.01..=1200.0).contains(&row.life_months) {
        return bad("life_months", row.life_months);
    }
    if !(0.01..=row.life_months).contains(&row.life_months_min) {
        return bad("life_months_min", row.life_months_min);
    }
    if !(row.life_months..=1200.0).contains(&row.life_months_max) {
        return bad("life_months_max", row.life_months_max);
    }
    let part = |months: f64| months / row.life_months;
    Ok(Life::from_spread(part(row.life_months_min), 1.0, part(row.life_months_max), norms.prior_lives))
}

/// All classes of a shop's handbook, and what wears them.
pub(super) struct Classes<'a> {
    pub norms: CoatNorms,
    pub chemistry: Chemistry<'a>,
    by_id: HashMap<&'a str, Class>,
    /// What is taken for granted about every coat.
    topics: Topics,
}

impl<'a> Classes<'a> {
    pub fn read(
        handbook: &'a Handbook,
        experience: &Experience,
        climate: &Climate,
        assumed: &mut Assumed,
    ) -> Result<Classes<'a>, UpkeepError> {
        let read = &mut Reader { handbook, assumed };
        let norms = CoatNorms::read(read)?;
        let clock = Clock::new(
            climate,
            read.factor(Topic::CoatClimate, "life_activation_ev", "eV")?,
            read.air_c(Topic::CoatClimate, "life_reference_c")?,
        );
        let mut washes = |name| read.factor(Topic::Chemistry, name, "alkaline washes");
        let washes = [0.0, washes("strip_washes_1")?, washes("strip_washes_2")?, washes("strip_washes_3")?];
        let class = |row: &'a Protection| {
            let seen = experience.protections.get(&row.id).copied().unwrap_or_default();
            Ok((row.id.as_str(), Class::new(row, &norms, seen)?))
        };
        let by_id = handbook.protections.iter().map(class).collect::<Result<_, UpkeepError>>()?;
        let mut topics = Topics::default();
        topics.touch(Topic::Coats);
        if climate.monthly_air_c.is_some() {
            topics.touch(Topic::CoatClimate);
        }
        if norms.late_cost_ratio > 1.0 {
            topics.touch(Topic::LateRenewal);
        }
        Ok(Classes { norms, chemistry: Chemistry::new(handbook, clock, washes), by_id, topics })
    }

    /// Notes what the life of this coat rests on.
    pub fn touch(&self, layer: &Layer, topics: &mut Topics) {
        topics.add(self.topics);
        if layer.bead_test.is_some() {
            topics.touch(Topic::BeadTest);
        }
        if layer.wear.is_touched() {
            topics.touch(Topic::Chemistry);
        }
    }

    pub fn of(&self, row: &Protection) -> Option<&Class> {
        self.by_id.get(row.id.as_str())
    }

    /// The shape of the life of a class, which lives seen do not change.
    pub fn shape(&self, row: &Protection) -> Option<f64> {
        self.of(row).map(|class| class.prior.shape)
    }
}
