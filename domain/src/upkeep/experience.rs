//! What the shop's own vehicles taught about the life of coats, as sufficient statistics.

use super::assumed::Topics;
use super::outlook::{Beads, judge, tests_of};
use super::profile::Profile;
use super::wear::Wear;
use super::{Forecaster, History, UpkeepError, profile};
use crate::handbook::Protection;
use crate::vehicle::{Coat, Vehicle};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// By id in the handbook's `protections` table; the default is the handbook alone.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Experience {
    pub protections: BTreeMap<String, LivesSeen>,
}

/// Lives of coats of one protection, those that still last included (right-censored).
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct LivesSeen {
    /// Coats that were found worn.
    pub ended: u32,
    /// Coats that still protected when last looked at.
    pub censored: u32,
    /// Sum over all of them of (equivalent age / handbook life) to the power of the handbook's Weibull shape.
    pub sum_tau_beta: f64,
}

impl LivesSeen {
    /// Enters a life of this age, in handbook lives.
    fn enter(&mut self, age: f64, ended: bool, shape: f64) {
        if ended {
            self.ended += 1;
        } else {
            self.censored += 1;
        }
        self.sum_tau_beta += age.powf(shape);
    }
}

impl Forecaster<'_> {
    /// Enters into `experience` what the coats of one vehicle tell, those before the present ones included as far as
    /// the steps of the history laid them.
    ///
    /// Only bead tests tell: a coat renewed by the calendar may have lasted longer, and one never tested may have ended.
    /// A low test after the test sequence ends a life, midway between it and the last test before that was not low; else
    /// the last test that was not low says that it lived so long. Start from an experience of the same handbook and
    /// climate, or the default: the ages are in their terms.
    ///
    /// # Errors
    /// As for a forecast.
    pub fn learn(
        &self,
        vehicle: &Vehicle,
        history: &History,
        today: NaiveDate,
        experience: &mut Experience,
    ) -> Result<(), UpkeepError> {
        if history.bead_tests.is_empty() {
            return Ok(());
        }
        history.check(today)?;
        let unsaid = (&mut Vec::new(), &mut Topics::default());
        let profile = profile::read(&self.model, vehicle, history, today, unsaid)?;
        for row in &self.model.handbook.protections {
            let tested = history.bead_tests.iter().any(|t| t.protection == row.id);
            let Some(shape) = self.model.classes.shape(row).filter(|_| tested) else { continue };
            for (age, ended) in self.lives(&profile, vehicle, history, row) {
                experience.protections.entry(row.id.clone()).or_default().enter(age, ended, shape);
            }
        }
        Ok(())
    }

    /// Age and whether it ended, of each coat of this class that a test tells about.
    fn lives(
        &self,
        profile: &Profile,
        vehicle: &Vehicle,
        history: &History,
        row: &Protection,
    ) -> Vec<(f64, bool)> {
        let chemistry = &self.model.classes.chemistry;
        let now: Vec<&Coat> = vehicle.coats.iter().filter(|coat| coat.protection == row.id).collect();
        let mut laid_on = chemistry.laid_on(row, history);
        laid_on.extend(now.iter().map(|coat| coat.applied_on));
        laid_on.sort_unstable();
        laid_on.dedup();
        let zone = now.first().and_then(|coat| coat.zone);
        let next = laid_on.iter().skip(1).copied().map(Some).chain([None]);
        let lives = laid_on.iter().zip(next).filter_map(|(&applied_on, next)| {
            let coat = Coat { protection: row.id.clone(), zone, applied_on };
            let wear = chemistry.wear(row, &coat, history, profile.life_factor());
            life(history, row, &wear, applied_on, next)
        });
        lives.collect()
    }
}

/// What the tests between the laying of a coat and the next one say of it.
fn life(
    history: &History,
    row: &Protection,
    wear: &Wear,
    applied_on: NaiveDate,
    next: Option<NaiveDate>,
) -> Option<(f64, bool)> {
    let mut tests: Vec<_> =
        tests_of(history, row, applied_on).filter(|t| next.is_none_or(|next| t.on <= next)).collect();
    // Of two on one day the one that counts comes first.
    tests.sort_by_key(|t| {
        let (on, after_sequence, mean) = t.rank();
        (on, std::cmp::Reverse(after_sequence), std::cmp::Reverse(mean))
    });
    tests.dedup_by_key(|t| t.on);
    let mut lived = None;
    for test in tests {
        // What came after a strip says nothing of wear.
        if wear.stripped.is_some_and(|(on, _)| on <= test.on) {
            break;
        }
        let age = wear.on(test.on);
        match judge(row, test) {
            Beads::Low if test.after_test_sequence => {
                return Some((lived.map_or(age, |lived| f64::midpoint(lived, age)), true));
            }
            Beads::Low => {}
            Beads::Between | Beads::High => lived = Some(age),
        }
    }
    lived.map(|age| (age, false))
}
