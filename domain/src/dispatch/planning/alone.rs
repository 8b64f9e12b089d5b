//! A shift and a few nodes by themselves: what a round of just these can do.

use crate::dispatch::search::{Model, Parts, Shift};

/// A model of one shift with these nodes, numbered in this order. Small enough to be made for every question.
pub fn alone(parts: &Parts, shift: usize, nodes: &[u32]) -> Model {
    let spec = &parts.shifts[shift];
    let (count, all) = (nodes.len() as u32, parts.legs.len().isqrt());
    let depots = [spec.start, spec.end].into_iter().chain(spec.refills.iter().map(|refill| refill.node));
    let places: Vec<usize> = nodes.iter().copied().chain(depots).map(|place| place as usize).collect();
    let legs = places.iter().flat_map(|&from| places.iter().map(move |&to| parts.legs[from * all + to]));
    let mut refills = spec.refills.clone();
    refills.iter_mut().zip(count + 2..).for_each(|(refill, node)| refill.node = node);
    let services = &parts.services[spec.class as usize];
    Model::new(Parts {
        nodes: nodes.iter().map(|&node| parts.nodes[node as usize].clone()).collect(),
        legs: legs.collect(),
        shifts: vec![Shift { start: count, end: count + 1, class: 0, refills, ..spec.clone() }],
        services: vec![nodes.iter().map(|&node| services[node as usize].clone()).collect()],
        ..Parts::default()
    })
}
