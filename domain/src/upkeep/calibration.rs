//! Forecasts held against what was found: of the needs that were called due, how many were there?

use super::assumed::{Assumed, Topic};
use super::norms::{Norms, Reader};
use super::{CoatRef, Found, History, Need, NeedKind, Reading, Upkeep, UpkeepError, fallout, spots};
use crate::handbook::{Handbook, Trigger, TriggerWhen};
use crate::inspection::Contaminant;
use crate::throughput::statistics::wilson;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The risk from which a need counts as called in [`Calibration::called_at_80`].
const CALLED: f64 = 0.8;
/// Bins of the risk from 0 to 1.
const BINS: usize = 5;

/// One need as it was forecast, and whether a look at the vehicle found it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastCheck {
    pub kind: NeedKind,
    /// Names the need and its trigger.
    pub key: String,
    /// The day of the look.
    pub found_on: NaiveDate,
    /// The day on which the need was forecast to fall due.
    pub due_on: NaiveDate,
    /// Probability, by the forecast, that the limit was crossed on the day of the look.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<f64>,
    /// The limit was crossed.
    pub found: bool,
}

/// What a look says about the needs that were forecast, for the day of the look, without knowing of it: see
/// [`judged_kinds`] for what tells about which. Of two looks at one thing on one day the worse counts. What is not
/// conclusive says nothing.
///
/// # Errors
/// Numbers of the handbook that cannot be used.
pub fn check_forecast(
    handbook: &Handbook,
    before: &Upkeep,
    seen: &History,
) -> Result<Vec<ForecastCheck>, UpkeepError> {
    let assumed = &mut Assumed::default();
    let norms = Norms::read(handbook, assumed)?;
    let film_due = Reader { handbook, assumed }.bounded(Topic::Wash, "film_grade_due", "grade", 1.0, 4.0)?;
    let look = Look { handbook, norms: &norms, film_due, seen, on: before.on };
    let check = |need: &Need| {
        Some(ForecastCheck {
            kind: need.kind,
            key: need.key(),
            found_on: before.on,
            due_on: need.due_on,
            risk: need.risk_today,
            found: look.finds(need)?,
        })
    };
    Ok(before.needs.iter().filter_map(check).collect())
}

/// What was seen on one day.
struct Look<'a> {
    handbook: &'a Handbook,
    norms: &'a Norms,
    film_due: f64,
    seen: &'a History,
    on: NaiveDate,
}

impl Look<'_> {
    /// Whether the need is there; none where the look does not tell.
    fn finds(&self, need: &Need) -> Option<bool> {
        match need.kind {
            NeedKind::Decontamination => self.finds_iron(),
            NeedKind::Protection => self.finds_worn(need.coat.as_ref()?),
            NeedKind::Wash => Some(f64::from(self.grade(Contaminant::Film)?) >= self.film_due),
            NeedKind::SaltFlush => Some(self.grade(Contaminant::Salt)? >= self.flushed_from()?),
            // The risk is that of the contaminant that sets the day, the first one.
            NeedKind::SpotRemoval | NeedKind::FrontWash => self.finds_spots(*need.contaminants.first()?),
            NeedKind::FeelTest => None,
        }
    }

    fn finds_iron(&self) -> Option<bool> {
        let bags = self.seen.bag_tests.iter().filter(|test| test.on == self.on);
        let felt = bags.map(|test| Found::Grade(test.grade)).chain(self.readings(Contaminant::FalloutIron));
        let dose = felt.filter_map(|found| fallout::dose_of(self.norms, found)).reduce(f64::max)?;
        Some(dose >= self.norms.dose_due)
    }

    fn finds_worn(&self, coat: &CoatRef) -> Option<bool> {
        let renew = self.handbook.protection(&coat.protection)?.bead_renew?;
        let tests =
            self.seen.bead_tests.iter().filter(|t| t.on == self.on && t.protection == coat.protection);
        let test = tests.max_by_key(|test| test.rank())?;
        let worn = *test.panel_grades.iter().min()? <= renew;
        // A low one without the test sequence may mean clogged.
        (!worn || test.after_test_sequence).then_some(worn)
    }

    fn finds_spots(&self, contaminant: Contaminant) -> Option<bool> {
        let row = self.handbook.accruals.iter().find(|row| row.id == contaminant)?;
        let amount =
            self.readings(contaminant).map(|found| spots::amount_read(row, found)).reduce(f64::max)?;
        Some(amount >= row.limit)
    }

    fn grade(&self, contaminant: Contaminant) -> Option<u8> {
        let grade = |found| if let Found::Grade(grade) = found { Some(grade.get()) } else { None };
        self.readings(contaminant).filter_map(grade).max()
    }

    /// The grade from which the handbook flushes salt.
    fn flushed_from(&self) -> Option<u8> {
        let found =
            |row: &&Trigger| row.when == TriggerWhen::Found && row.contaminant == Some(Contaminant::Salt);
        self.handbook.triggers.iter().find(found)?.min_grade
    }

    fn readings(&self, contaminant: Contaminant) -> impl Iterator<Item = Found> {
        let here = move |reading: &&Reading| reading.on == self.on && reading.contaminant == contaminant;
        self.seen.readings.iter().filter(here).map(|reading| reading.found)
    }
}

/// Whether a look at the vehicle can tell if a need of this kind is there, and by what.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct JudgedKind {
    pub kind: NeedKind,
    pub is_judged: bool,
    /// What tells it, or why nothing does.
    pub text: String,
}

/// Every kind of need, and how it is held against what was found.
pub fn judged_kinds() -> Vec<JudgedKind> {
    let judged = |kind, is_judged, text: &str| JudgedKind { kind, is_judged, text: text.to_owned() };
    vec![
        judged(
            NeedKind::Decontamination,
            true,
            "a bag test or measured iron: there from the dose that is due (`bag_dose_...`, `dose_due`)",
        ),
        judged(
            NeedKind::Protection,
            true,
            "a bead test: worn at or below the grade at which the handbook renews; a low one counts only after the \
             test sequence, as it may mean clogged",
        ),
        judged(NeedKind::Wash, true, "the grade of traffic film: there from `film_grade_due`"),
        judged(
            NeedKind::SaltFlush,
            true,
            "the grade of salt: there from the one at which the handbook flushes",
        ),
        judged(
            NeedKind::SpotRemoval,
            true,
            "spots or grade of the contaminant that sets the day: there from its limit in `accruals`",
        ),
        judged(NeedKind::FrontWash, true, "the same, of insects or bird lime"),
        judged(
            NeedKind::FeelTest,
            false,
            "nothing: it is asked for because nobody knows what is there, so no look finds it missing",
        ),
    ]
}

/// How many of those that were called were there.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FoundShare {
    pub called: u32,
    pub found: u32,
    /// `found / called`; none of none.
    pub share: Option<f64>,
    /// Wilson's 95 % interval of the share (Newcombe 1998, method 3).
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// Needs whose risk lay from `from` to below `to`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RiskBin {
    pub from: f64,
    pub to: f64,
    /// Mean of the risks that were forecast: a calibrated forecast has it within the interval of the share.
    pub mean_risk: Option<f64>,
    #[serde(flatten)]
    pub share: FoundShare,
}

/// How well forecasts held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Calibration {
    /// Looks that could be held against a forecast.
    pub checks: u32,
    /// Of these, needs whose day had come.
    pub called_due: FoundShare,
    /// Needs that were forecast with a risk of at least 80 %.
    pub called_at_80: FoundShare,
    pub bins: Vec<RiskBin>,
    /// What the checks of each kind rest on.
    pub kinds: Vec<JudgedKind>,
    /// Mean squared difference between risk and outcome (Brier 1950): 0 is perfect, 0.25 is a coin.
    pub brier: Option<f64>,
}

/// Counts checks one by one, so that any number of them can be told.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    checks: u32,
    due: Counted,
    at_80: Counted,
    bins: [Counted; BINS],
    risk_sums: [f64; BINS],
    squares: f64,
    with_risk: u32,
}

#[derive(Debug, Clone, Copy, Default)]
struct Counted {
    called: u32,
    found: u32,
}

impl Counted {
    fn enter(&mut self, found: bool) {
        self.called += 1;
        self.found += u32::from(found);
    }

    fn share(self) -> FoundShare {
        let interval = wilson(u64::from(self.found), u64::from(self.called));
        FoundShare {
            called: self.called,
            found: self.found,
            share: (self.called > 0).then(|| f64::from(self.found) / f64::from(self.called)),
            low: interval.map(|bounds| bounds.low),
            high: interval.map(|bounds| bounds.high),
        }
    }
}

impl Tally {
    pub fn enter(&mut self, check: &ForecastCheck) {
        self.checks += 1;
        if check.due_on <= check.found_on {
            self.due.enter(check.found);
        }
        let Some(risk) = check.risk else { return };
        if risk >= CALLED {
            self.at_80.enter(check.found);
        }
        let bin = ((risk.clamp(0.0, 1.0) * BINS as f64) as usize).min(BINS - 1);
        self.bins[bin].enter(check.found);
        self.risk_sums[bin] += risk;
        self.with_risk += 1;
        self.squares += (risk - f64::from(u8::from(check.found))).powi(2);
    }

    pub fn calibration(&self) -> Calibration {
        let width = 1.0 / BINS as f64;
        let bin = |i: usize| RiskBin {
            from: i as f64 * width,
            to: (i + 1) as f64 * width,
            mean_risk: (self.bins[i].called > 0).then(|| self.risk_sums[i] / f64::from(self.bins[i].called)),
            share: self.bins[i].share(),
        };
        Calibration {
            checks: self.checks,
            called_due: self.due.share(),
            called_at_80: self.at_80.share(),
            bins: (0..BINS).map(bin).collect(),
            kinds: judged_kinds(),
            brier: (self.with_risk > 0).then(|| self.squares / f64::from(self.with_risk)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::inspection::Grade;
    use crate::upkeep::{BagTest, BeadTest, Urgency};

    fn check(risk: f64, found: bool) -> ForecastCheck {
        let on = NaiveDate::default();
        let due_on = if risk >= 0.5 { on } else { on + chrono::Days::new(1) };
        ForecastCheck {
            kind: NeedKind::Decontamination,
            key: "decontamination:unknown".into(),
            found_on: on,
            due_on,
            risk: Some(risk),
            found,
        }
    }

    /// QUA-10: Wilson's 95 % interval of 81 in 263 is 0.2553 to 0.3662 (Newcombe 1998, table I, method 3).
    #[test]
    fn shares_come_with_wilsons_interval() {
        let mut tally = Tally::default();
        for i in 0..263 {
            tally.enter(&check(0.9, i < 81));
        }
        for i in 0..10 {
            tally.enter(&check(0.1, i < 1));
        }
        let told = tally.calibration();
        assert_eq!((told.checks, told.called_due.called, told.called_at_80.found), (273, 263, 81));
        let (low, high) = (told.called_at_80.low.unwrap(), told.called_at_80.high.unwrap());
        assert!((low - 0.2553).abs() < 5e-5 && (high - 0.3662).abs() < 5e-5, "{low} {high}");
        assert_eq!(told.bins.iter().map(|bin| bin.share.called).collect::<Vec<_>>(), [10, 0, 0, 0, 263]);
        assert_eq!((told.bins[1].mean_risk, told.bins[1].share.share), (None, None));
        // 81 · 0.01 + 182 · 0.81 + 1 · 0.81 + 9 · 0.01, over 273.
        assert!((told.brier.unwrap() - 149.13 / 273.0).abs() < 1e-12);
    }

    /// The edges of the bins: a risk of 1 is in the last, one of exactly 0.8 was called at 80 %.
    #[test]
    fn edges() {
        let mut tally = Tally::default();
        for risk in [0.0, 0.2, 0.8, 1.0] {
            tally.enter(&check(risk, true));
        }
        let told = tally.calibration();
        assert_eq!(told.bins.iter().map(|bin| bin.share.called).collect::<Vec<_>>(), [1, 1, 0, 0, 2]);
        assert_eq!(told.called_at_80.called, 2);
        assert_eq!(Tally::default().calibration().brier, None);
    }

    fn need(kind: NeedKind, coat: Option<&str>, contaminants: &[Contaminant]) -> Need {
        let on = NaiveDate::default();
        Need {
            kind,
            coat: coat.map(|protection| CoatRef { protection: protection.into(), zone: None }),
            since_on: None,
            remind_on: on,
            due_on: on,
            overdue_on: None,
            early_on: None,
            late_on: None,
            risk_today: Some(0.7),
            risk_target: None,
            contaminants: contaminants.into(),
            urgency: Urgency::Due,
            package: "P1".into(),
            reason: String::new(),
            advice: vec![],
            figures: vec![],
        }
    }

    /// Each kind by what tells it, with the handbook's own limits: the due dose lies between bag grades 2 and 3 (90 and
    /// 120), wax is renewed at bead grade 2, salt is flushed from grade 2, tar is due at 10 spots a square metre.
    #[test]
    fn every_kind_that_a_look_can_tell_is_judged() {
        use NeedKind::*;
        let on = NaiveDate::default();
        let read = |contaminant, found| History {
            readings: vec![Reading { on, contaminant, found }],
            ..History::default()
        };
        let grade = |contaminant, grade: u8| read(contaminant, Found::Grade(Grade::new(grade).unwrap()));
        let bag = |grade: u8| History {
            bag_tests: vec![BagTest { on, grade: Grade::new(grade).unwrap() }],
            ..History::default()
        };
        let beads = |panels: &[u8], after_test_sequence| History {
            bead_tests: vec![BeadTest {
                on,
                protection: "wax".into(),
                panel_grades: panels.into(),
                after_test_sequence,
            }],
            ..History::default()
        };
        let spots = |spots, area_m2| read(Contaminant::Tar, Found::Spots { spots, area_m2 });
        let iron = |amount| read(Contaminant::FalloutIron, Found::AmountMgM2(amount));
        let (tar, insect) = (&[Contaminant::Tar, Contaminant::SapFresh][..], &[Contaminant::Insect][..]);
        for (kind, coat, contaminants, seen, found) in [
            (Decontamination, None, &[][..], bag(2), Some(false)),
            (Decontamination, None, &[], bag(3), Some(true)),
            // 0.1 mg/m2 a day stand for 0.6 of dose a day: 100 is 16.7 mg/m2.
            (Decontamination, None, &[], iron(16.6), Some(false)),
            (Decontamination, None, &[], iron(16.8), Some(true)),
            (Protection, Some("wax"), &[], beads(&[4, 3], false), Some(false)),
            (Protection, Some("wax"), &[], beads(&[4, 2], false), None),
            (Protection, Some("wax"), &[], beads(&[4, 2], true), Some(true)),
            (Protection, Some("ceramic_1y"), &[], beads(&[4, 3], true), None),
            (Wash, None, &[], grade(Contaminant::Film, 1), Some(false)),
            (Wash, None, &[], grade(Contaminant::Film, 2), Some(true)),
            (SaltFlush, None, &[], grade(Contaminant::Salt, 1), Some(false)),
            (SaltFlush, None, &[], grade(Contaminant::Salt, 2), Some(true)),
            (SpotRemoval, None, tar, spots(4, 0.5), Some(false)),
            (SpotRemoval, None, tar, spots(5, 0.5), Some(true)),
            (SpotRemoval, None, tar, grade(Contaminant::SapFresh, 4), None),
            (FrontWash, None, insect, grade(Contaminant::Insect, 2), Some(true)),
            (FrontWash, None, insect, bag(4), None),
            (FeelTest, None, &[], bag(4), None),
        ] {
            let before = Upkeep {
                on,
                needs: vec![need(kind, coat, contaminants)],
                rates: vec![],
                lives: vec![],
                visits: vec![],
                assumptions: vec![],
                remarks: vec![],
            };
            let checks = check_forecast(Handbook::standard(), &before, &seen).expect("checks");
            let told: Vec<(NeedKind, bool, Option<f64>)> =
                checks.iter().map(|check| (check.kind, check.found, check.risk)).collect();
            let expected: Vec<_> = found.map(|found| (kind, found, Some(0.7))).into_iter().collect();
            assert_eq!(told, expected, "{kind:?} {seen:?}");
            assert_eq!(
                judged_kinds().iter().find(|k| k.kind == kind).map(|k| k.is_judged),
                Some(kind != FeelTest)
            );
            let yesterday = Upkeep { on: on + chrono::Days::new(1), ..before };
            assert_eq!(check_forecast(Handbook::standard(), &yesterday, &seen).expect("checks"), []);
        }
    }
}
