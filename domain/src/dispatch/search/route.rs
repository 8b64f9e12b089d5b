//! One shift's visits in order, with what makes judging a change cheap.

use super::model::Model;
use super::timing;

/// A node in a route. The first and the last stop of a route are its depots.
#[derive(Debug, Clone, Copy, Default)]
pub struct Stop {
    pub node: u32,
    /// Earliest departure. In a model that is not plain, breaks and refills are left out: a bound.
    pub depart_s: i32,
    /// Latest arrival that leaves the rest of the route possible.
    pub latest_s: i32,
    /// Cost of the way to the next stop.
    pub onward: i32,
}

#[derive(Debug, Clone, Default)]
pub struct Route {
    pub stops: Vec<Stop>,
    /// Loads of the visits in all, and up to and with each stop.
    pub load: Vec<i32>,
    pub load_up_to: Vec<i32>,
    /// Load above the capacity.
    pub excess: i64,
    /// The ways alone.
    pub travel: i64,
    /// Work that counts for fairness, and the cost of visits being here.
    pub work_s: i64,
    pub placing: i64,
    pub cost: i64,
    /// Different for every content that the route ever had; see [`super::insertion::Cache`].
    pub version: u32,
}

impl Route {
    pub fn empty(model: &Model, shift: usize) -> Route {
        let ends = model.shift(shift);
        let stop = |node| Stop { node, ..Stop::default() };
        let mut route = Route {
            stops: vec![stop(ends.start), stop(ends.end)],
            load: vec![0; ends.capacity.len()],
            ..Route::default()
        };
        route.refresh(model, shift, &[], 0);
        route
    }

    /// Number of visits.
    pub fn len(&self) -> usize {
        self.stops.len() - 2
    }

    pub fn is_empty(&self) -> bool {
        self.stops.len() == 2
    }

    pub fn visits(&self) -> impl DoubleEndedIterator<Item = u32> + ExactSizeIterator + Clone + '_ {
        self.stops[1..self.stops.len() - 1].iter().map(|stop| stop.node)
    }

    /// Cost that lateness, overtime and refills add: the most that another order can win beside travel.
    pub fn timed_cost(&self, model: &Model, shift: usize) -> i64 {
        if self.is_empty() { 0 } else { self.cost - self.least_cost(model, shift, [0; 3]) }
    }

    /// What the route costs at least once its travel, work and placing have changed by so much: all that can be told
    /// without times.
    pub fn least_cost(&self, model: &Model, shift: usize, [travel, work_s, placing]: [i64; 3]) -> i64 {
        let spec = model.shift(shift);
        let fairness = timing::fairness_cost(model.parts.fairness, spec.people, self.work_s + work_s);
        spec.fixed_cost + self.travel + travel + fairness + self.placing + placing
    }

    pub fn copy_from(&mut self, other: &Route) {
        self.stops.clone_from(&other.stops);
        self.load.clone_from(&other.load);
        self.load_up_to.clone_from(&other.load_up_to);
        (self.travel, self.work_s, self.placing) = (other.travel, other.work_s, other.placing);
        (self.excess, self.cost, self.version) = (other.excess, other.cost, other.version);
    }

    pub fn insert(&mut self, at: usize, node: u32) {
        self.stops.insert(at + 1, Stop { node, ..Stop::default() });
    }

    /// Works out times, load and cost after a change. `pins` are the starts that are set,
    /// `penalty` is the cost of a unit of load above the capacity.
    pub fn refresh(&mut self, model: &Model, shift: usize, pins: &[Option<i32>], penalty: i64) {
        self.load.fill(0);
        self.load_up_to.clear();
        self.load_up_to.extend_from_slice(&self.load);
        for stop in &self.stops[1..self.stops.len() - 1] {
            for (sum, load) in self.load.iter_mut().zip(&model.parts.nodes[stop.node as usize].load) {
                *sum += load;
            }
            self.load_up_to.extend_from_slice(&self.load);
        }
        let mut travel = 0;
        for at in 1..self.stops.len() {
            let leg = model.leg(self.stops[at - 1].node, self.stops[at].node);
            self.stops[at - 1].onward = leg.cost;
            travel += i64::from(leg.cost);
        }
        self.excess = excess(&self.load, &model.shift(shift).capacity);
        self.travel = travel;
        if !model.plain {
            self.work_s = self.visits().map(|node| model.work_s(shift, node)).sum();
            self.placing = self.visits().map(|node| model.placing_cost(shift, node)).sum();
        }
        self.time_windows(model, shift, pins);
        self.cost = if self.is_empty() {
            0
        } else if model.plain {
            travel + model.shift(shift).fixed_cost + penalty * self.excess
        } else {
            timing::cost(model, shift, self.visits(), pins).unwrap_or(i64::MAX / 4)
        };
    }

    fn time_windows(&mut self, model: &Model, shift: usize, pins: &[Option<i32>]) {
        let last = self.stops.len() - 1;
        let mut clock = model.shift(shift).opens_s;
        self.stops[0].depart_s = clock;
        for at in 1..last {
            let node = self.stops[at].node;
            let arrival = clock + model.leg(self.stops[at - 1].node, node).time_s;
            let served = timing::serve(model, shift, node, arrival, pins);
            clock = served.map_or(i32::MAX / 4, |(_, finish)| finish);
            self.stops[at].depart_s = clock;
        }
        let mut limit = model.shift(shift).last_s;
        self.stops[last].latest_s = limit;
        self.stops[last].depart_s =
            clock.saturating_add(model.leg(self.stops[last - 1].node, self.stops[last].node).time_s);
        for at in (1..last).rev() {
            let node = self.stops[at].node;
            let leave_by = limit.saturating_sub(model.leg(node, self.stops[at + 1].node).time_s);
            limit = timing::latest_arrival(model, shift, node, leave_by, pins);
            self.stops[at].latest_s = limit;
        }
        self.stops[0].latest_s = limit - model.leg(self.stops[0].node, self.stops[1].node).time_s;
    }
}

/// Load above the capacity, all kinds together.
pub fn excess(load: &[i32], capacity: &[i32]) -> i64 {
    load.iter().zip(capacity).map(|(load, most)| i64::from((load - most).max(0))).sum()
}
