//! How long a product may work, on how large a section, and what to do where it would dry first.

use super::film::Drying;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Share of the drying time that may be used: the trade's working value (common practice). 0.5 is the cautious one.
pub const DWELL_SHARE: f64 = 0.7;
/// Smallest section one person can sensibly work, m²: half of one panel of 0.8 m² (assumption).
pub const SMALLEST_SECTION_M2: f64 = 0.4;
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum DwellError {
    #[error("{what} of {value} is outside {min} to {max}")]
    Range { what: &'static str, value: f64, min: f64, max: f64 },
}

/// What the label asks and the hands can do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DwellTask {
    /// Shortest and longest dwell of the label, s, 0 to 7200.
    pub label_min_s: f64,
    pub label_max_s: f64,
    /// Minutes to apply, agitate and rinse one square metre, above 0 to 60.
    pub work_min_per_m2: f64,
    /// Area that is to be treated, m², above 0 to 100.
    pub area_m2: f64,
    /// Share of the drying time that may be used, above 0 to 1; [`DWELL_SHARE`] is the trade's.
    pub share: f64,
    /// Times a drying film may be wetted again before the place is given up.
    pub re_mists: u32,
    /// A product that would dry in less than this share of its shortest dwell is not used, 0 to 1.
    pub hopeless_share: f64,
}

/// What to do about the product on this panel in this air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "advice", rename_all = "snake_case")]
pub enum DwellAdvice {
    /// The whole area at once.
    Go,
    /// In sections of this size.
    Sections { section_m2: f64 },
    /// Wet again `times` during the dwell, in sections of this size.
    Remist { times: u32, section_m2: f64 },
    /// In the shade, cooled with water, it would go.
    CoolFirst,
    /// Not here, not now: another place or hour.
    Refuse,
}

/// The window and the advice.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DwellWindow {
    /// The shorter of the label's longest dwell and the usable share of the drying time, s, without wetting again.
    pub allowed_s: f64,
    pub advice: DwellAdvice,
}

/// Judges a product on a panel that dries as `hot` says, and as `cooled` says after shading and rinsing it cool.
///
/// In this order (common practice): enough time, then smaller sections, then wetting again as often as the task
/// allows, provided the film lasts its share of the shortest dwell; then cooling first; else refuse.
pub fn dwell_window(
    task: &DwellTask,
    hot: &Drying,
    cooled: Option<&Drying>,
) -> Result<DwellWindow, DwellError> {
    task.check()?;
    let allowed_s = allowed_dwell_s(task.label_max_s, hot.dry_s(), task.share);
    let advice = task.advice(hot).unwrap_or_else(|| match cooled.and_then(|cooled| task.advice(cooled)) {
        Some(_) => DwellAdvice::CoolFirst,
        None => DwellAdvice::Refuse,
    });
    Ok(DwellWindow { allowed_s, advice })
}

/// The shorter of the label's maximum and `share` of the drying time; a film that stays wet leaves the label's.
pub fn allowed_dwell_s(label_max_s: f64, dry_s: Option<f64>, share: f64) -> f64 {
    dry_s.map_or(label_max_s, |dry_s| label_max_s.min(share * dry_s))
}

/// Largest section of which the first spot gets its shortest dwell and the last is rinsed in time, m², at least 0:
/// what the hands do in the time left over. Without a shortest dwell it is the trade's rule of thumb.
pub fn section_m2(allowed_s: f64, label_min_s: f64, work_min_per_m2: f64) -> f64 {
    ((allowed_s - label_min_s) / 60.0 / work_min_per_m2).max(0.0)
}

impl DwellTask {
    /// What can be done without cooling; none: nothing.
    fn advice(&self, drying: &Drying) -> Option<DwellAdvice> {
        let once_s = allowed_dwell_s(self.label_max_s, drying.dry_s(), self.share);
        let smallest_m2 = SMALLEST_SECTION_M2.min(self.area_m2);
        let section = section_m2(once_s, self.label_min_s, self.work_min_per_m2);
        if section >= self.area_m2 {
            return Some(DwellAdvice::Go);
        }
        // Where the label's maximum is the limit, not the drying, no mist and no shade would help: small sections.
        if section >= smallest_m2 || once_s >= self.label_max_s {
            return Some(DwellAdvice::Sections { section_m2: section.max(smallest_m2) });
        }
        if drying.dry_s().is_some_and(|dry_s| dry_s < self.hopeless_share * self.label_min_s) {
            return None;
        }
        (1..=self.re_mists).find_map(|times| {
            let wet_s = self.label_max_s.min(once_s * f64::from(times + 1));
            // Each round of mist must come back to the first spot before that has dried.
            let round_m2 = once_s / 60.0 / self.work_min_per_m2;
            let section_m2 = section_m2(wet_s, self.label_min_s, self.work_min_per_m2).min(round_m2);
            let section_m2 = section_m2.min(self.area_m2);
            (section_m2 >= smallest_m2).then_some(DwellAdvice::Remist { times, section_m2 })
        })
    }

    fn check(&self) -> Result<(), DwellError> {
        within("shortest dwell, s,", self.label_min_s, 0.0, 7200.0)?;
        within("longest dwell, s,", self.label_max_s, self.label_min_s, 7200.0)?;
        within("work, min/m2,", self.work_min_per_m2, f64::MIN_POSITIVE, 60.0)?;
        within("area, m2,", self.area_m2, f64::MIN_POSITIVE, 100.0)?;
        within("share of the drying time", self.share, f64::MIN_POSITIVE, 1.0)?;
        within("share of the shortest dwell", self.hopeless_share, 0.0, 1.0)
    }
}

fn within(what: &'static str, value: f64, min: f64, max: f64) -> Result<(), DwellError> {
    if value >= min && value <= max { Ok(()) } else { Err(DwellError::Range { what, value, min, max }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::film::DryingTimes;

    /// An iron remover by its label: 120 to 300 s; 1 min/m² of work (common practice).
    const IRON: DwellTask = DwellTask {
        label_min_s: 120.0,
        label_max_s: 300.0,
        work_min_per_m2: 1.0,
        area_m2: 4.0,
        share: DWELL_SHARE,
        // Common practice.
        re_mists: 2,
        hopeless_share: 0.5,
    };

    fn dries_in(dry_s: f64) -> Drying {
        let times = DryingTimes { dry_s, end_c: 30.0, low_s: dry_s, high_s: dry_s };
        Drying { panel_c: 40.0, wet_c: 25.0, times: Some(times) }
    }

    fn advice(task: &DwellTask, hot_s: f64, cooled_s: f64) -> DwellAdvice {
        dwell_window(task, &dries_in(hot_s), Some(&dries_in(cooled_s))).unwrap().advice
    }

    #[test]
    fn the_less_time_the_smaller_the_section_then_mist_then_shade_then_no() {
        // 0.7 x 280 s = 196 s: 76 s beyond the shortest dwell, 1.27 m2.
        assert!(matches!(advice(&IRON, 280.0, 900.0), DwellAdvice::Sections { section_m2 }
            if (section_m2 - 76.0 / 60.0).abs() < 1e-9));
        // The label's 300 s govern although the film lasts 900 s.
        let window = dwell_window(&IRON, &dries_in(900.0), None).unwrap();
        assert_eq!(
            window,
            DwellWindow { allowed_s: 300.0, advice: DwellAdvice::Sections { section_m2: 3.0 } }
        );
        // 0.7 x 150 s = 105 s is short of 120 s; one mist makes it 210 s.
        assert_eq!(advice(&IRON, 150.0, 900.0), DwellAdvice::Remist { times: 1, section_m2: 1.5 });
        // 0.7 x 80 s = 56 s; two mists make it 168 s.
        assert!(matches!(advice(&IRON, 80.0, 900.0), DwellAdvice::Remist { times: 2, .. }));
        // Under half of the shortest dwell no mist helps.
        assert_eq!(advice(&IRON, 59.0, 900.0), DwellAdvice::CoolFirst);
        assert_eq!(advice(&IRON, 59.0, 50.0), DwellAdvice::Refuse);
        // Not even where the hands alone could keep up: all of it used, 59 s and two mists would reach 177 s.
        let eager = DwellTask { share: 1.0, ..IRON };
        assert_eq!(advice(&eager, 59.0, 900.0), DwellAdvice::CoolFirst);
        assert!(matches!(advice(&eager, 61.0, 900.0), DwellAdvice::Remist { times: 2, .. }));
    }

    #[test]
    fn a_small_area_goes_at_once_and_a_dew_wet_panel_has_the_labels_time() {
        assert_eq!(advice(&DwellTask { area_m2: 1.0, ..IRON }, 280.0, 900.0), DwellAdvice::Go);
        let wet = Drying { panel_c: 10.0, wet_c: 12.0, times: None };
        assert_eq!(dwell_window(&IRON, &wet, None).unwrap().allowed_s, 300.0);
    }

    #[test]
    fn a_label_of_one_exact_time_is_worked_in_small_sections_not_refused() {
        let exact = DwellTask { label_max_s: 120.0, ..IRON };
        assert_eq!(advice(&exact, 900.0, 900.0), DwellAdvice::Sections { section_m2: SMALLEST_SECTION_M2 });
    }

    #[test]
    fn nonsense_is_an_error_with_its_number() {
        for task in [
            DwellTask { label_min_s: f64::NAN, ..IRON },
            DwellTask { label_max_s: 60.0, ..IRON },
            DwellTask { work_min_per_m2: 0.0, ..IRON },
            DwellTask { area_m2: -1.0, ..IRON },
            DwellTask { share: 1.5, ..IRON },
        ] {
            assert!(dwell_window(&task, &dries_in(100.0), None).is_err(), "{task:?}");
        }
    }
}
