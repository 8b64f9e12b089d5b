//! Finished steps to figures for the owner: each with its count, its denominator and where it may mislead.
//!
//! Data flows one way: `entries` (what was recorded, and how much of it counts) -> `job` and `cells` (roll-ups: rows
//! that add up) -> `measure`, `compare`, `trends`, `ahead`, `evidence` (figures) -> `pictures` and `page` (for people).
//! No ranking, no figure without its count, and a range instead of a number below eight jobs.
//!
//! To keep the rows when an entry comes, is corrected or voided: [`reach`] says which other entries of the technician
//! it may touch, [`screen`] judges them again, and of every job with an entry that now counts otherwise the old
//! [`Contribution`] is taken away and the new one added ([`Contribution::change_from`]). That equals making all rows
//! anew, in any order of what happens.

mod ahead;
mod catalogue;
mod cautions;
mod cells;
mod changes;
mod closing;
mod compare;
mod entries;
mod evidence;
mod job;
mod measure;
mod page;
mod pictures;
mod sheet;
pub mod statistics;
mod trends;
mod week;

pub use ahead::{Ahead, AheadInput, BookedJob, CrewDay, DayLoad, DueUpkeep, Gain, Load, look_ahead};
pub use catalogue::{MeasureDefinition, Part, catalogue};
pub use cells::{CellKey, Histogram, StepCell};
pub use closing::{ChangedJob, ChangedMeasure, JobChange, SinceClosing, since_closing};
pub use compare::{Comparison, CrewCompared, FunnelLimit, FunnelPlace, compare_crews};
pub use entries::{
    Counted, Flaw, FlawKind, LONGEST_ENTRY_MIN, Reach, Screening, StepEntry, Withdrawal, reach, screen,
};
pub use evidence::{NormEvidence, norm_evidence, norms_of_cells};
pub use job::{Contribution, ExtraWork, JobBusiness, JobFacts, JobFigures, PlannedStep, week_of};
pub use measure::{LEAST_JOBS, Measure, Shown, Span};
pub use page::{PageInput, sheet_page};
pub(crate) use pictures::canvas;
pub use pictures::{ewma_svg, funnel_svg, individuals_svg, load_svg};
pub use sheet::{CancelledWork, GradeBand, Group, Sheet, SheetInput, StepFigures, WearFigure, sheet};
pub use trends::{
    Change, Ewma, Individuals, JobStay, LearningCurve, Phase, Point, Series, TrendInput, Trends,
    WorkInProgress, trends,
};
pub use week::{ReminderCounts, Wear, WeekFacts};

use crate::handbook::Handbook;
use crate::inspection::Grade;

/// Area times what a square metre counts for at the grade: the handbook's factors `severity_weight_1` to `_4`, else
/// the trade's own scale 1, 1.3, 1.7, 2.4 (assumption). Grade 0 counts as 1.
pub fn weighted_m2(handbook: &Handbook, grade: Grade, area_m2: f64) -> f64 {
    let grade = grade.get().clamp(1, 4);
    let standard = [1.0, 1.3, 1.7, 2.4][usize::from(grade) - 1];
    let read = handbook.factor(&format!("severity_weight_{grade}"));
    area_m2 * read.filter(|weight| weight.is_finite() && *weight > 0.0).unwrap_or(standard)
}

#[cfg(test)]
mod checks;
#[cfg(test)]
mod rollup_checks;
