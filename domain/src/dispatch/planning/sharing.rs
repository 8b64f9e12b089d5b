//! Shifts with frozen visits that share a van or a person: the search must not put either into two places at once.

use super::frozen::Keeper;
use super::spans::seconds;

impl Keeper<'_> {
    /// Of two such shifts, the one that departs when the other is back begins only then, and the other ends then. Where
    /// they overlap, both keep what is frozen and get nothing else.
    pub(super) fn part_sharing_shifts(&mut self) {
        let shifts = self.shifts_with_frozen();
        for (nth, &one) in shifts.iter().enumerate() {
            for &other in &shifts[nth + 1..] {
                let theirs = &self.parts.shifts[other].resources;
                if self.parts.shifts[one].resources.iter().any(|resource| theirs.contains(resource)) {
                    self.part(one, other);
                }
            }
        }
    }

    fn part(&mut self, one: usize, other: usize) {
        let out = |shift: usize| Some((self.departure(shift)?, self.returns(shift)?, shift));
        let Some((one, other)) = out(one).zip(out(other)) else { return };
        let ((_, back_s, earlier), (departs_s, _, later)) = (one.min(other), one.max(other));
        if self.candidates[earlier].van == self.candidates[later].van {
            let carried = [earlier, later].map(|shift| self.carried(shift));
            self.carry_less(earlier, &carried[1]);
            self.carry_less(later, &carried[0]);
        }
        if back_s <= departs_s {
            let ends = &mut self.parts.shifts[earlier];
            ends.closes_s = ends.closes_s.min(departs_s);
            ends.last_s = ends.last_s.min(departs_s);
            self.open_from(later, departs_s);
        } else {
            self.close(earlier);
            self.close(later);
            let fault = self.both_at_once(earlier, later);
            self.faults.push(fault);
        }
    }

    /// The van is loaded once a day: what stays with one crew takes, the other has not; its own visits that stay keep
    /// what they need.
    fn carry_less(&mut self, shift: usize, taken: &[i32]) {
        let own = self.carried(shift);
        let capacity = self.parts.shifts[shift].capacity.iter_mut();
        for ((most, taken), own) in capacity.zip(taken).zip(own) {
            *most = most.saturating_sub(*taken).max(own);
        }
    }

    fn both_at_once(&self, one: usize, other: usize) -> String {
        let told = |shift: usize| {
            let candidate = &self.candidates[shift];
            let name = |&who: &usize| self.problem.technicians[who].technician.name.as_str();
            let names: Vec<&str> = candidate.crew.iter().map(name).collect();
            format!("van {} with {}", self.problem.vans[candidate.van].van.id, names.join(" and "))
        };
        format!(
            "{}: {} and {} have visits that stay, and these two rounds overlap although they share a van or a person; \
             neither gets other visits.",
            self.candidates[one].on,
            told(one),
            told(other)
        )
    }

    /// Nobody departs in the past; who is out for a frozen visit has departed in time for that.
    pub(super) fn depart_from_now(&mut self) {
        let Some(now_s) = self.problem.now.map(|now| seconds(self.problem, now)) else { return };
        for shift in 0..self.parts.shifts.len() {
            if self.parts.shifts[shift].opens_s < now_s {
                self.open_from(shift, now_s);
            }
        }
    }

    /// The shift departs no earlier, but for its frozen visits, and not in a gap of its hours. Rests that are past by then,
    /// or for which no time is left beside what is frozen, are left out.
    fn open_from(&mut self, shift: usize, at_s: i32) {
        let departure = self.departure(shift);
        let latest_s = departure.unwrap_or(i32::MAX);
        let spec = &mut self.parts.shifts[shift];
        spec.opens_s = spec.opens_s.max(at_s.min(latest_s));
        let mut due = Vec::new();
        for rest in std::mem::take(&mut spec.rests) {
            let is_gap = rest.from_s == rest.to_s;
            if spec.opens_s <= rest.to_s {
                due.push(rest);
            } else if is_gap {
                spec.opens_s = spec.opens_s.max((rest.to_s + rest.length_s).min(latest_s));
            }
        }
        spec.rests.clone_from(&due);
        if departure.is_some() && self.returns(shift).is_none() {
            self.rest_where_possible(shift, due);
        }
    }
}
