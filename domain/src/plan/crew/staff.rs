//! From kinds of technician to technicians: at every start there are enough of each kind free.

use super::decode::Draft;
use super::net::Net;

/// Technicians of each activity, in the order of their numbers; those free longest are taken first.
pub fn assign(net: &Net, draft: &Draft) -> Vec<Vec<usize>> {
    let technicians = net.kinds.iter().flatten().max().map_or(0, |&last| last + 1);
    let mut free_at = vec![0_u32; technicians];
    let mut assigned = vec![Vec::new(); net.count];
    let mut order: Vec<usize> = (0..net.count).collect();
    order.sort_by_key(|&at| (draft.start[at], at));
    for activity in order {
        let way = &net.alternatives[activity][draft.way[activity]];
        for (kind, members) in net.kinds.iter().enumerate() {
            let free = |one: &usize| way.duration == 0 || free_at[*one] <= draft.start[activity];
            let mut free: Vec<usize> = members.iter().copied().filter(free).collect();
            free.sort_by_key(|&one| (free_at[one], one));
            assigned[activity].extend(free.into_iter().take(usize::from(way.kinds[kind])));
        }
        assigned[activity].sort_unstable();
        for &one in &assigned[activity] {
            free_at[one] = free_at[one].max(draft.start[activity] + way.duration);
        }
    }
    assigned
}
