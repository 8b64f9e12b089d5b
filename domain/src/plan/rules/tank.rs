//! R18: litres against tank, refills and tap.

use crate::handbook::Chemistry;
use crate::inspection::Contaminant;
use crate::plan::draft::{Draft, each};

pub(super) fn on_the_clock(draft: &mut Draft) {
    r18_enough_water(draft);
}

/// R18: litres against tank, refills and tap, with a reserve, and more while iron remover or acid is open.
fn r18_enough_water(draft: &mut Draft) {
    let tank = Tank::of(draft);
    let litres: Vec<f64> = draft.work.iter().map(|w| w.water_l).collect();
    let refills = tank.refills(&litres);
    if refills.as_ref().is_some_and(Vec::is_empty) || tank.need_l <= 0.0 {
        return;
    }
    let facts = draft.facts;
    let sum = format!(
        "{:.0} l and {:.0} l in reserve, {:.0} l usable in the tank",
        tank.need_l, tank.reserve_l, tank.usable_l
    );
    let agreed = facts.input.refill_stops;
    if let Some(refills) = refills.as_ref().filter(|refills| stops(refills) <= u64::from(agreed)) {
        let lines = refills.iter().map(|refill| refill.line(draft)).collect();
        return draft.kept("R18", format!("{sum}: {}", counted(stops(refills))), lines);
    }
    match facts.input.site.tap {
        Some(true) => {
            let how = if facts.by_washer() { "through the washer" } else { "by hose" };
            let line =
                each(vec!["A05".into()], &format!("{:.0} l short: customer's tap {how}", tank.short_l()));
            draft.kept("R18", format!("{sum}: work from the customer's tap {how}"), line);
        }
        Some(false) => {
            let text = format!("{sum}, no tap: {:.0} l short", tank.short_l());
            draft.unmet("R18", text, vec![], ways_to_water(draft, refills.as_deref()));
        }
        None => draft.ask("R18", "/site/tap", &format!("Is there a tap to use? {sum}.")),
    }
}

/// What the job asks of the van's water.
struct Tank {
    need_l: f64,
    reserve_l: f64,
    usable_l: f64,
}

/// Fillings of the tank at one step, by its place in the order of work.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Refill {
    place: usize,
    times: u64,
    /// The step alone takes more than a filling gives: it is stopped for water.
    during: bool,
}

impl Tank {
    fn of(draft: &Draft) -> Tank {
        let facts = draft.facts;
        let acid = [Chemistry::Acid];
        let open = draft.work.iter().any(|w| w.uses("iron_remover") || facts.uses_chemistry(w, &acid));
        Tank {
            need_l: draft.work.iter().map(|w| w.water_l).sum(),
            reserve_l: if open { facts.limit("R18", "open_chemistry_l") } else { 0.0 },
            usable_l: facts.input.kit.tank_l * (1.0 - facts.limit("R18", "reserve_share")),
        }
    }

    fn short_l(&self) -> f64 {
        self.need_l + self.reserve_l - self.usable_l
    }

    /// What each filling gives before the reserve is touched.
    fn per_fill_l(&self) -> f64 {
        self.usable_l - self.reserve_l
    }

    /// The fewest fillings that never let it fall into the reserve, for steps of so many litres in their order; none
    /// when the tank is hardly larger than the reserve. A filling waits for the step that needs it.
    fn refills(&self, litres: &[f64]) -> Option<Vec<Refill>> {
        /// A filling of less is none (assumption).
        const LEAST_FILL_L: f64 = 1.0;
        /// Sums of litres are no more exact.
        const SAME_L: f64 = 1e-6;
        let full_l = self.per_fill_l();
        if full_l < LEAST_FILL_L {
            return None;
        }
        let mut left_l = full_l;
        let mut refills = Vec::new();
        for (place, &step_l) in litres.iter().enumerate() {
            if step_l > full_l + SAME_L {
                let times = ((step_l - left_l - SAME_L) / full_l).ceil();
                left_l += times * full_l;
                refills.push(Refill { place, times: times as u64, during: true });
            } else if step_l > left_l + SAME_L {
                left_l = full_l;
                refills.push(Refill { place, times: 1, during: false });
            }
            left_l -= step_l;
        }
        Some(refills)
    }
}

impl Refill {
    fn line(&self, draft: &Draft) -> (String, String) {
        let step = draft.work.get(self.place).map_or(String::new(), |w| w.step.id.clone());
        let text = match (self.during, self.times) {
            (false, _) => "fill the tank before it".to_string(),
            (true, 1) => "fill the tank once during it".to_string(),
            (true, times) => format!("fill the tank {times} times during it"),
        };
        (step, text)
    }
}

fn stops(refills: &[Refill]) -> u64 {
    refills.iter().map(|refill| refill.times).sum()
}

fn counted(stops: u64) -> String {
    format!("{stops} refill stop{}", if stops == 1 { "" } else { "s" })
}

/// Refill stops, somebody's tap, and the rinseless package where the dirt allows it.
fn ways_to_water(draft: &Draft, refills: Option<&[Refill]>) -> String {
    let mut ways: Vec<String> = refills.map(|refills| counted(stops(refills))).into_iter().collect();
    ways.push("a neighbour's or the customer's tap".to_string());
    let film = draft.facts.worst_or_booked(Contaminant::Film);
    let rinseless = draft.facts.handbook().packages.iter().filter_map(|p| p.max_film);
    if !draft.facts.rinseless() && rinseless.max().is_some_and(|most| film.get() <= most) {
        ways.push("the rinseless package".to_string());
    }
    ways.join(", or ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn tank(per_fill_l: f64) -> Tank {
        Tank { need_l: 0.0, reserve_l: 40.0, usable_l: per_fill_l + 40.0 }
    }

    /// Whether the tank falls into its reserve.
    fn drained(full_l: f64, litres: &[f64], refills: &[Refill]) -> bool {
        let mut left_l = full_l;
        for (place, step_l) in litres.iter().enumerate() {
            for refill in refills.iter().filter(|refill| refill.place == place) {
                left_l = if refill.during { left_l + refill.times as f64 * full_l } else { full_l };
            }
            left_l -= step_l;
            if left_l < -1e-3 {
                return true;
            }
        }
        false
    }

    #[test]
    fn three_steps_of_sixty_litres_from_fillings_of_a_hundred_take_two_stops() {
        let refills = tank(100.0).refills(&[60.0, 60.0, 60.0]).unwrap();
        assert_eq!((stops(&refills), refills.len()), (2, 2), "not the one that 80 l in all would need");
        // 250 l in one step: the first 100 l are aboard, the rest takes two stops in its middle.
        let long = tank(100.0).refills(&[250.0, 40.0]).unwrap();
        assert_eq!(long, [Refill { place: 0, times: 2, during: true }]);
        assert!(tank(100.0).refills(&[250.0, 60.0]).unwrap().len() == 2);
        assert_eq!(tank(0.5).refills(&[10.0]), None);
    }

    proptest! {
        #[test]
        fn the_stops_are_enough_and_one_less_is_not(
            full_l in 1u32..500, litres in prop::collection::vec(0u32..400, 0..12),
        ) {
            let (full_l, litres): (f64, Vec<f64>) = (full_l.into(), litres.into_iter().map(f64::from).collect());
            let refills = tank(full_l).refills(&litres).unwrap();
            prop_assert!(!drained(full_l, &litres, &refills));
            prop_assert_eq!(refills.is_empty(), litres.iter().sum::<f64>() <= full_l + 1e-6);
            for spared in 0..refills.len() {
                let mut fewer = refills.clone();
                if fewer[spared].during && fewer[spared].times > 1 {
                    fewer[spared].times -= 1;
                } else {
                    fewer.remove(spared);
                }
                prop_assert!(drained(full_l, &litres, &fewer), "{:?} of {:?}", spared, refills);
            }
        }
    }
}
