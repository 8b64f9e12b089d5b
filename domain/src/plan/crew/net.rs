//! A validated problem in the form the searches walk: alternatives, links both ways, sets as bits.

use super::load::{LANES, Load};
use super::problem::{Activity, Infeasible, MAX_ACTIVITIES, MAX_TIME_S, Problem};
use super::timeline::{Need, Site};
use super::validate::{distinct, units_of};

/// No maximal lag, no deadline.
pub const NEVER: u32 = u32::MAX;

/// All times in it are counted in `unit` seconds, the greatest common divisor of the times given.
#[derive(Debug, Clone)]
pub struct Net {
    pub unit_s: u32,
    pub count: usize,
    /// Ways to do each activity, cheapest in technicians first.
    pub alternatives: Vec<Vec<Alternative>>,
    pub not_before: Vec<u32>,
    /// Activities and open dwells (bit `count + k` for span `k`) that each activity must not overlap.
    pub excluded: Vec<u128>,
    pub preds: Vec<Vec<Link>>,
    pub succs: Vec<Vec<Link>>,
    pub spans: Vec<Span>,
    /// Bits of the spans that end when each activity starts.
    pub closes: Vec<u128>,
    pub site: Site,
    /// Members of each kind of technician; kind `k` uses lane `k`.
    pub kinds: Vec<Vec<usize>>,
    /// Every predecessor before its successors.
    pub order: Vec<usize>,
    /// Activities that must come after each, directly or not.
    pub after: Vec<u128>,
    /// Sets of activities tied together by maximal lags, in an order that respects precedence.
    pub blocks: Vec<Vec<usize>>,
    pub block_of: Vec<usize>,
    /// Earliest start, ignoring all sharing.
    pub head: Vec<u32>,
    /// Longest way from the finish of each to the end.
    pub post: Vec<u32>,
    /// Longest way from the start of each to the end.
    pub tail: Vec<u32>,
}

/// One way to do an activity: so long, with these kinds of technician.
#[derive(Debug, Clone)]
pub struct Alternative {
    pub duration: u32,
    pub need: Need,
    /// Technicians taken of each kind.
    pub kinds: Vec<u8>,
    pub hands: usize,
    /// Work beyond that of the cheapest alternative, as time of the whole crew.
    pub surplus: u32,
}

/// `other` starts between `min` and `max` after the finish (or the other way round, seen from behind).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Link {
    pub other: usize,
    pub min: u32,
    pub max: u32,
}

/// An open dwell that is watched or wet, from the finish of `before` to the start of `after`.
#[derive(Debug, Clone, Copy)]
pub struct Span {
    pub before: usize,
    pub after: usize,
    pub need: Need,
}

impl Net {
    /// Expects a problem that passed `validate`.
    pub fn new(problem: &Problem) -> Result<Net, Infeasible> {
        let count = problem.activities.len();
        let unit_s = common_unit(problem);
        let (preds, succs) = links(problem, unit_s);
        let order = topological(&succs, &preds)?;
        let after = closure(&order, &succs);
        let kinds = kinds_of_technician(problem);
        let lanes = Lanes::new(problem, &kinds)?;
        let mut excluded = exclusions(problem);
        let spans = spans(problem, &after, &mut excluded, &lanes)?;
        let alternatives = (0..count)
            .map(|index| alternatives(&problem.activities[index], &kinds, &lanes, unit_s, excluded[index]))
            .collect();
        let not_before = problem.activities.iter().map(|activity| activity.not_before_s / unit_s).collect();
        let (blocks, block_of) = blocks(&order, &succs);
        let technicians = kinds.iter().map(Vec::len).sum::<usize>() as u32;
        let site = Site { capacity: lanes.capacity, technicians, watched: spans.watched };
        let ended_by = |at: usize| spans.list.iter().enumerate().filter(move |(_, span)| span.after == at);
        let closes = (0..count).map(|at| bits(ended_by(at).map(|(span, _)| count + span))).collect();
        let mut net = Net {
            unit_s,
            count,
            alternatives,
            not_before,
            excluded,
            preds,
            succs,
            spans: spans.list,
            closes,
            site,
            kinds,
            order,
            after,
            blocks,
            block_of,
            head: vec![0; count],
            post: vec![0; count],
            tail: vec![0; count],
        };
        net.measure();
        Ok(net)
    }

    /// Whether any lag has a maximum.
    pub fn is_tied(&self) -> bool {
        self.succs.iter().flatten().any(|link| link.max != NEVER)
    }

    pub fn shortest(&self, activity: usize) -> u32 {
        self.alternatives[activity].iter().map(|way| way.duration).min().unwrap_or(0)
    }

    /// A time by which some schedule has ended, if there is any: at every moment before the end of a
    /// left-justified schedule something is worked on, or a minimal lag or a release runs down.
    pub fn horizon(&self) -> u32 {
        let waits = |activity: usize| self.succs[activity].iter().map(|link| link.min).max().unwrap_or(0);
        let longest = |activity: usize| self.alternatives[activity].iter().map(|way| way.duration).max();
        let release = self.not_before.iter().max().copied().unwrap_or(0);
        (0..self.count).fold(release, |sum, at| sum + longest(at).unwrap_or(0) + waits(at))
    }

    /// Heads, posts and tails along the longest paths.
    fn measure(&mut self) {
        for &activity in &self.order {
            let ready = |link: &Link| self.head[link.other] + self.shortest(link.other) + link.min;
            let ready = self.preds[activity].iter().map(ready).max().unwrap_or(0);
            self.head[activity] = ready.max(self.not_before[activity]);
        }
        for &activity in self.order.iter().rev() {
            let post = self.succs[activity].iter().map(|link| link.min + self.tail[link.other]).max();
            self.post[activity] = post.unwrap_or(0);
            self.tail[activity] = self.post[activity] + self.shortest(activity);
        }
    }
}

fn common_unit(problem: &Problem) -> u32 {
    let mut unit = 0;
    for activity in &problem.activities {
        unit = activity.crews.iter().fold(unit, |unit, crew| divisor(unit, crew.duration_s));
        unit = divisor(unit, activity.not_before_s);
    }
    for lag in &problem.lags {
        unit = divisor(divisor(unit, lag.min_s), lag.max_s.unwrap_or(0).min(MAX_TIME_S));
    }
    unit.max(1)
}

fn divisor(mut one: u32, mut other: u32) -> u32 {
    while other > 0 {
        (one, other) = (other, one % other);
    }
    one
}

fn links(problem: &Problem, unit_s: u32) -> (Vec<Vec<Link>>, Vec<Vec<Link>>) {
    let count = problem.activities.len();
    let (mut preds, mut succs) = (vec![Vec::new(); count], vec![Vec::new(); count]);
    for lag in &problem.lags {
        let max = lag.max_s.map_or(NEVER, |max_s| max_s.min(MAX_TIME_S) / unit_s);
        let link = |other| Link { other, min: lag.min_s / unit_s, max };
        preds[lag.after].push(link(lag.before));
        succs[lag.before].push(link(lag.after));
    }
    (preds, succs)
}

/// Always the ready activity with the smallest index next.
fn topological(succs: &[Vec<Link>], preds: &[Vec<Link>]) -> Result<Vec<usize>, Infeasible> {
    let mut waiting: Vec<usize> = preds.iter().map(Vec::len).collect();
    let mut placed = vec![false; succs.len()];
    let mut order = Vec::with_capacity(succs.len());
    while let Some(next) = (0..succs.len()).find(|&at| !placed[at] && waiting[at] == 0) {
        placed[next] = true;
        order.push(next);
        for link in &succs[next] {
            waiting[link.other] -= 1;
        }
    }
    if order.len() == succs.len() { Ok(order) } else { Err(Infeasible::Cycle { activities: circle(succs) }) }
}

/// Activities that come after themselves.
fn circle(succs: &[Vec<Link>]) -> Vec<usize> {
    let reach = reachable(succs.iter().map(|links| bits(links.iter().map(|link| link.other))).collect());
    (0..succs.len()).filter(|&at| reach[at] >> at & 1 == 1).collect()
}

pub fn bits(members: impl Iterator<Item = usize>) -> u128 {
    members.fold(0, |set, member| set | 1 << member)
}

/// The members of a set of bits, smallest first.
pub fn members(mut set: u128) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let next = (set != 0).then(|| set.trailing_zeros() as usize)?;
        set &= set - 1;
        Some(next)
    })
}

fn reachable(mut reach: Vec<u128>) -> Vec<u128> {
    for middle in 0..reach.len() {
        for from in 0..reach.len() {
            if reach[from] >> middle & 1 == 1 {
                reach[from] |= reach[middle];
            }
        }
    }
    reach
}

fn closure(order: &[usize], succs: &[Vec<Link>]) -> Vec<u128> {
    let mut after = vec![0_u128; order.len()];
    for &activity in order.iter().rev() {
        after[activity] =
            succs[activity].iter().fold(0, |set, link| set | 1 << link.other | after[link.other]);
    }
    after
}

/// Strongly connected sets of the graph in which a maximal lag also points backwards.
fn blocks(order: &[usize], succs: &[Vec<Link>]) -> (Vec<Vec<usize>>, Vec<usize>) {
    let mut arcs: Vec<u128> = succs.iter().map(|links| bits(links.iter().map(|link| link.other))).collect();
    for (before, links) in succs.iter().enumerate() {
        for link in links.iter().filter(|link| link.max != NEVER) {
            arcs[link.other] |= 1 << before;
        }
    }
    let reach = reachable(arcs);
    let mut block_of = vec![usize::MAX; order.len()];
    let mut blocks: Vec<Vec<usize>> = Vec::new();
    for &activity in order {
        let tied = |other: &usize| reach[activity] >> other & 1 == 1 && reach[*other] >> activity & 1 == 1;
        let block = (0..order.len()).find(|other| block_of[*other] != usize::MAX && tied(other));
        let block = block.map_or(blocks.len(), |other| block_of[other]);
        if block == blocks.len() {
            blocks.push(Vec::new());
        }
        blocks[block].push(activity);
        block_of[activity] = block;
    }
    (blocks, block_of)
}

/// Technicians who may do exactly the same are of one kind; the most versatile kind comes first.
fn kinds_of_technician(problem: &Problem) -> Vec<Vec<usize>> {
    /// For each activity whether somebody may lead it, and whether they may help.
    type Roles = Vec<(bool, bool)>;
    let roles = |technician: usize| -> Roles {
        let role = |activity: &Activity| {
            (activity.able.contains(&technician), activity.helpers.contains(&technician))
        };
        problem.activities.iter().map(role).collect()
    };
    let mut kinds: Vec<(Roles, Vec<usize>)> = Vec::new();
    for technician in 0..problem.technicians {
        let own = roles(technician);
        match kinds.iter_mut().find(|(roles, _)| *roles == own) {
            Some((_, members)) => members.push(technician),
            None => kinds.push((own, vec![technician])),
        }
    }
    let versatility = |roles: &[(bool, bool)]| roles.iter().filter(|&&(able, helper)| able || helper).count();
    kinds.retain(|(roles, _)| versatility(roles) > 0);
    kinds.sort_by_key(|(roles, _)| std::cmp::Reverse(versatility(roles)));
    kinds.into_iter().map(|(_, members)| members).collect()
}

/// Which lane counts what.
struct Lanes {
    capacity: Load,
    /// Lane of each resource; none where it never binds or is told by exclusions.
    resources: Vec<Option<usize>>,
    /// Lane that counts technicians out of sight, where somebody must watch.
    sight: Option<usize>,
}

impl Lanes {
    fn new(problem: &Problem, kinds: &[Vec<usize>]) -> Result<Lanes, Infeasible> {
        let mut next = kinds.len();
        let mut resources = vec![None; problem.capacities.len()];
        for (resource, &capacity) in problem.capacities.iter().enumerate() {
            if !is_unary(problem, resource) && total_units(problem, resource) > u64::from(capacity) {
                resources[resource] = Some(next);
                next += 1;
            }
        }
        let watching = problem.lags.iter().any(|lag| lag.watched)
            && problem.activities.iter().any(|activity| activity.out_of_sight);
        let sight = watching.then_some(next);
        next += usize::from(watching);
        if next > LANES {
            return Err(Infeasible::TooManyResources { given: next, limit: LANES });
        }
        let mut capacity = Load::default();
        for (lane, members) in kinds.iter().enumerate() {
            capacity = capacity.plus(Load::of(lane, members.len() as u32));
        }
        for (resource, lane) in resources.iter().enumerate() {
            capacity =
                lane.map_or(capacity, |lane| capacity.plus(Load::of(lane, problem.capacities[resource])));
        }
        capacity = sight.map_or(capacity, |lane| capacity.plus(Load::of(lane, problem.technicians as u32)));
        Ok(Lanes { capacity, resources, sight })
    }
}

fn total_units(problem: &Problem, resource: usize) -> u64 {
    problem.activities.iter().map(|activity| u64::from(units_of(activity, resource))).sum()
}

/// Whether no two users of the resource fit beside each other.
fn is_unary(problem: &Problem, resource: usize) -> bool {
    let mut units: Vec<u32> = problem
        .activities
        .iter()
        .map(|activity| units_of(activity, resource))
        .filter(|&units| units > 0)
        .collect();
    units.sort_unstable();
    units.len() < 2 || u64::from(units[0]) + u64::from(units[1]) > u64::from(problem.capacities[resource])
}

/// Pairs given, and pairs of users of a resource that serves one at a time.
fn exclusions(problem: &Problem) -> Vec<u128> {
    let mut excluded = vec![0_u128; problem.activities.len()];
    for &(one, other) in problem.exclusions.iter().filter(|(one, other)| one != other) {
        excluded[one] |= 1 << other;
        excluded[other] |= 1 << one;
    }
    for resource in (0..problem.capacities.len()).filter(|&resource| is_unary(problem, resource)) {
        let uses = |at: &usize| units_of(&problem.activities[*at], resource) > 0;
        let users = bits((0..excluded.len()).filter(uses));
        for user in members(users) {
            excluded[user] |= users & !(1 << user);
        }
    }
    excluded
}

struct Spans {
    list: Vec<Span>,
    watched: u128,
}

/// Gives every open dwell its bit and adds it to the exclusions of those it keeps out.
fn spans(
    problem: &Problem,
    after: &[u128],
    excluded: &mut [u128],
    lanes: &Lanes,
) -> Result<Spans, Infeasible> {
    let count = problem.activities.len();
    let (mut list, mut watched) = (Vec::new(), 0_u128);
    let zones = zone_exclusions(problem);
    for lag in &problem.lags {
        let watch = lag.watched && lanes.sight.is_some();
        let between = after[lag.before] & bits((0..count).filter(|&at| after[at] >> lag.after & 1 == 1));
        let kept_out = if lag.wet { zones[lag.before] & !between & !(1 << lag.after) } else { 0 };
        if !watch && kept_out == 0 {
            continue;
        }
        let bit = count + list.len();
        if bit >= MAX_ACTIVITIES {
            let given = problem.lags.iter().filter(|lag| lag.watched || lag.wet).count();
            return Err(Infeasible::TooManyOpenDwells { given, activities: count });
        }
        watched |= u128::from(watch) << bit;
        for other in members(kept_out) {
            excluded[other] |= 1 << bit;
        }
        let load = lanes.sight.filter(|_| watch).map_or(Load::default(), |lane| Load::of(lane, 1));
        let need = Need { load, hands: 0, load_watched: load, excluded: kept_out };
        list.push(Span { before: lag.before, after: lag.after, need });
    }
    Ok(Spans { list, watched })
}

/// Only the pairs given: a wet zone does not hold the washer.
fn zone_exclusions(problem: &Problem) -> Vec<u128> {
    let mut zones = vec![0_u128; problem.activities.len()];
    for &(one, other) in problem.exclusions.iter().filter(|(one, other)| one != other) {
        zones[one] |= 1 << other;
        zones[other] |= 1 << one;
    }
    zones
}

/// Every choice of kinds for every crew size, without those that take more for no gain.
fn alternatives(
    activity: &Activity,
    kinds: &[Vec<usize>],
    lanes: &Lanes,
    unit_s: u32,
    excluded: u128,
) -> Vec<Alternative> {
    let mut shared = Load::default();
    for (resource, lane) in lanes.resources.iter().enumerate() {
        shared = lane.map_or(shared, |lane| shared.plus(Load::of(lane, units_of(activity, resource))));
    }
    let mut ways: Vec<Alternative> = Vec::new();
    let mut crews = activity.crews.clone();
    crews.sort_unstable_by_key(|crew| (crew.hands, crew.duration_s));
    for crew in crews {
        for chosen in choices(activity, kinds, crew.hands) {
            let hands = chosen.iter().enumerate();
            let load = hands.fold(shared, |load, (lane, &taken)| load.plus(Load::of(lane, u32::from(taken))));
            let away = if activity.out_of_sight { crew.hands as u32 } else { 0 };
            let load = lanes.sight.map_or(load, |lane| load.plus(Load::of(lane, away)));
            let watcher = lanes.sight.filter(|_| away > 0).map_or(Load::default(), |lane| Load::of(lane, 1));
            let need = Need { load, hands: crew.hands as u32, load_watched: load.plus(watcher), excluded };
            let duration = crew.duration_s / unit_s;
            if !ways.iter().any(|way| way.duration <= duration && way.need.load.at_most(load)) {
                ways.push(Alternative { duration, need, kinds: chosen, hands: crew.hands, surplus: 0 });
            }
        }
    }
    let work = |way: &Alternative| way.duration * way.hands as u32;
    let least = ways.iter().map(work).min().unwrap_or(0);
    let crew = kinds.iter().map(Vec::len).sum::<usize>().max(1) as u32;
    for way in &mut ways {
        way.surplus = (work(way) - least) / crew;
    }
    ways
}

/// All ways to take `hands` technicians of the kinds that may, at least one of whom may lead.
fn choices(activity: &Activity, kinds: &[Vec<usize>], hands: usize) -> Vec<Vec<u8>> {
    let able = distinct(&activity.able);
    let anyone = able | distinct(&activity.helpers);
    let mut choices = vec![Vec::new()];
    for members in kinds {
        let most = if distinct(&members[..1]) & anyone == 0 { 0 } else { members.len() };
        let longer = |chosen: &Vec<u8>| {
            let chosen = chosen.clone();
            let taken: usize = chosen.iter().map(|&taken| usize::from(taken)).sum();
            (0..=most.min(hands.saturating_sub(taken))).map(move |more| {
                let mut next = chosen.clone();
                next.push(more as u8);
                next
            })
        };
        choices = choices.iter().flat_map(longer).collect();
    }
    let leads = |chosen: &Vec<u8>| {
        let kinds = kinds.iter().zip(chosen);
        hands == 0
            || kinds.into_iter().any(|(members, &taken)| taken > 0 && distinct(&members[..1]) & able != 0)
    };
    choices.retain(|chosen| {
        chosen.iter().map(|&taken| usize::from(taken)).sum::<usize>() == hands && leads(chosen)
    });
    choices
}
