//! The planning rules R01-R70. Each is one function; the handbook's `rules` table holds their limits and severity.
//!
//! A rule that is kept by changing the plan says `adjust`, or `advise` where the table only advises. One that
//! cannot be kept has the table's severity, at least `warn`, and says what would lift it. One that lacks a fact
//! asks for it. Before the order is made rules put steps in first and take steps out afterwards; what a rule took
//! out no other rule puts back ([`Draft::drop_steps`]).

mod air;
mod cold;
mod crew;
mod dirt;
mod heat;
mod mixing;
mod outfit;
mod paint;
mod place;
mod protection;
mod sequence;
mod spots;
mod stock;
mod sun;
mod surface;
mod tank;
mod tidy;
mod water;
mod wear;
mod weather;

use super::draft::Draft;

pub(super) use air::awning_stands;
pub(super) use heat::{Demand, demand, limit_on, too_hot};
pub(super) use place::in_machine_hours;
pub(super) use weather::last_light;

/// Chooses, exchanges and drops steps.
pub(super) fn before_order(draft: &mut Draft) {
    tidy::companions(draft);
    dirt::insert(draft);
    sequence::insert(draft);
    water::insert(draft);
    heat::insert(draft);

    stock::restrict(draft);
    paint::restrict(draft);
    dirt::restrict(draft);
    water::restrict(draft);

    cold::exchange(draft);
    weather::exchange(draft);
    heat::exchange(draft);
    sequence::exchange(draft);
    protection::exchange(draft);
    tidy::second_choices(draft);
    surface::fit(draft);
    outfit::restrict(draft);
    tidy::second_choices(draft);
    surface::fit(draft);
    tidy::companions(draft);
    tidy::dry_again(draft);
    tidy::rinse_after_chemistry(draft);
    tidy::rinse_what_was_treated(draft);
}

/// Judges the order.
pub(super) fn after_order(draft: &mut Draft) {
    sequence::after_order(draft);
    protection::after_order(draft);
}

/// Judges hours, panels, litres and people.
pub(super) fn on_the_clock(draft: &mut Draft) {
    heat::on_the_clock(draft);
    sequence::on_the_clock(draft);
    sun::on_the_clock(draft);
    air::on_the_clock(draft);
    weather::on_the_clock(draft);
    tank::on_the_clock(draft);
    water::on_the_clock(draft);
    spots::on_the_clock(draft);
    place::on_the_clock(draft);
    crew::on_the_clock(draft);
    dirt::on_the_clock(draft);
    paint::on_the_clock(draft);
    stock::on_the_clock(draft);
    wear::on_the_clock(draft);
    outfit::on_the_clock(draft);
    place::ask_for_a_roof(draft);
}
