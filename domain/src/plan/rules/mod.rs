//! The planning rules R01-R70. Each is one function; the handbook's `rules` table holds their limits.
//!
//! Three rounds: before the order is made rules choose, exchange and drop steps; after it they look at the
//! order; on the clock they look at hours, panels, litres and stock.

mod air;
mod dirt;
mod heat;
mod paint;
mod place;
mod sequence;
mod stock;
mod water;

use super::draft::Draft;

pub(super) use air::awning_stands;
pub(super) use heat::limit_of;

pub(super) fn before_order(draft: &mut Draft) {
    dirt::before_order(draft);
    sequence::before_order(draft);
    paint::before_order(draft);
    air::before_order(draft);
    water::before_order(draft);
    heat::before_order(draft);
    place::before_order(draft);
    stock::before_order(draft);
}

pub(super) fn after_order(draft: &mut Draft) {
    sequence::after_order(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    heat::on_the_clock(draft);
    air::on_the_clock(draft);
    water::on_the_clock(draft);
    place::on_the_clock(draft);
    stock::on_the_clock(draft);
}
