//! What is measured, in words: published to the crew as it is told to the owner.

use serde::Serialize;
use utoipa::ToSchema;

/// A figure as it is defined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct MeasureDefinition {
    #[schema(example = "water_per_m2")]
    pub name: &'static str,
    pub part: Part,
    pub title: &'static str,
    /// In one sentence.
    pub definition: &'static str,
    pub unit: &'static str,
    /// What stands behind it, one by one.
    pub counted: &'static str,
    pub denominator_unit: &'static str,
    /// How it misleads, and what to read it with.
    pub misleads: &'static str,
}

/// What a figure is told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// The shop, packages, like jobs and crews: the sheet's measures.
    Sheet,
    /// Steps of the handbook.
    Steps,
    /// What is used up.
    Wear,
    /// Crews beside each other.
    Crews,
    /// Single technicians.
    People,
}

/// Every figure, those of the sheet first and in its order.
pub fn catalogue() -> &'static [MeasureDefinition] {
    CATALOGUE
}

pub(super) fn definition(name: &str) -> Option<&'static MeasureDefinition> {
    CATALOGUE.iter().find(|definition| definition.name == name)
}

/// Which misleads and which is read with which: common practice.
const CATALOGUE: &[MeasureDefinition] = &[
    MeasureDefinition {
        name: "jobs_done",
        part: Part::Sheet,
        title: "Jobs done of jobs planned",
        definition: "Jobs finished divided by jobs planned for the time.",
        unit: "1",
        counted: "jobs",
        denominator_unit: "jobs",
        misleads: "Cars per day rewards easy cars: read it with weighted area and grade.",
    },
    MeasureDefinition {
        name: "on_time_start",
        part: Part::Sheet,
        title: "Started on time",
        definition: "Jobs where the crew arrived, or else began, at most 15 minutes after the planned start (after the window where none \
                     was planned), divided by jobs with both times.",
        unit: "1",
        counted: "jobs",
        denominator_unit: "jobs",
        misleads: "One late start moves the whole round: the second job's delay is often the first job's.",
    },
    MeasureDefinition {
        name: "person_minutes_per_weighted_m2",
        part: Part::Sheet,
        title: "Person-minutes per weighted m2",
        definition: "Person-minutes of all steps divided by area times the severity weight of the worst grade.",
        unit: "min/m2",
        counted: "jobs",
        denominator_unit: "m2",
        misleads: "Fast rinses show later as spots: read it with rework within 14 days. Minutes are person-minutes, \
                   as minutes per car would hide two-person jobs.",
    },
    MeasureDefinition {
        name: "actual_to_planned",
        part: Part::Sheet,
        title: "Minutes spent to minutes planned",
        definition: "Median over jobs of minutes spent divided by minutes planned, on the steps that were planned.",
        unit: "1",
        counted: "jobs",
        denominator_unit: "jobs",
        misleads: "It judges the plan as much as the crew, and steps that nobody planned are not in it.",
    },
    MeasureDefinition {
        name: "water_per_m2",
        part: Part::Sheet,
        title: "Water per m2",
        definition: "Litres of water recorded divided by the area of those jobs.",
        unit: "l/m2",
        counted: "jobs",
        denominator_unit: "m2",
        misleads: "Little water with much product points to chemistry that dried on the panel.",
    },
    MeasureDefinition {
        name: "product_per_m2",
        part: Part::Sheet,
        title: "Product per m2",
        definition: "Millilitres of concentrate recorded divided by the area of those jobs.",
        unit: "ml/m2",
        counted: "jobs",
        denominator_unit: "m2",
        misleads: "Heavy fallout needs more: compare the same package and grade only.",
    },
    MeasureDefinition {
        name: "first_pass_rate",
        part: Part::Sheet,
        title: "First-pass rate",
        definition: "Steps that passed their check at once divided by all steps.",
        unit: "1",
        counted: "steps",
        denominator_unit: "steps",
        misleads: "The one who works judges the check: it says nothing about later rework.",
    },
    MeasureDefinition {
        name: "loops_per_step",
        part: Part::Sheet,
        title: "Loops per step",
        definition: "Rounds repeated because a check failed, divided by steps.",
        unit: "loops/step",
        counted: "steps",
        denominator_unit: "steps",
        misleads: "A loop that is done is better than one that is skipped: no loops on heavy cars is a warning.",
    },
    MeasureDefinition {
        name: "rework_within_14_days",
        part: Part::Sheet,
        title: "Rework within 14 days",
        definition: "Jobs that had to be worked on again within 14 days, divided by jobs finished at least 14 days ago.",
        unit: "1",
        counted: "jobs",
        denominator_unit: "jobs",
        misleads: "It comes late: this week's jobs are not in it before two weeks have passed.",
    },
    MeasureDefinition {
        name: "extra_work_asked",
        part: Part::Sheet,
        title: "Extra work asked for",
        definition: "Requests to the customer for extra work on jobs that were finished, divided by those jobs.",
        unit: "requests/job",
        counted: "jobs",
        denominator_unit: "jobs",
        misleads: "Asking is honest where the car is worse than booked: more is not better.",
    },
    MeasureDefinition {
        name: "extra_work_accepted",
        part: Part::Sheet,
        title: "Extra work accepted",
        definition: "Requests for extra work that got a yes, divided by requests.",
        unit: "1",
        counted: "requests",
        denominator_unit: "requests",
        misleads: "Few requests with many a yes may mean that only the sure ones are asked.",
    },
    MeasureDefinition {
        name: "reminders_sent",
        part: Part::Sheet,
        title: "Reminders sent",
        definition: "Upkeep reminders sent, divided by the weeks they are counted in.",
        unit: "reminders/week",
        counted: "reminders",
        denominator_unit: "weeks",
        misleads: "More reminders are not more care: look at what they led to.",
    },
    MeasureDefinition {
        name: "reminders_booked",
        part: Part::Sheet,
        title: "Reminders that led to a booking",
        definition: "Upkeep reminders after which the customer booked within 14 days, divided by reminders sent.",
        unit: "1",
        counted: "reminders",
        denominator_unit: "reminders",
        misleads: "Some would have booked anyway, and the newest had no 14 days yet.",
    },
    MeasureDefinition {
        name: "reminders_stopped",
        part: Part::Sheet,
        title: "Reminders that made a customer stop them",
        definition: "Customers who asked for no more upkeep reminders, divided by reminders sent.",
        unit: "1",
        counted: "reminders",
        denominator_unit: "reminders",
        misleads: "Who is annoyed may just not answer: a low rate is not consent.",
    },
    MeasureDefinition {
        name: "no_shows",
        part: Part::Sheet,
        title: "No-shows",
        definition: "Jobs where nobody or no vehicle was there, divided by jobs planned.",
        unit: "1",
        counted: "jobs",
        denominator_unit: "jobs",
        misleads: "Cancellations for weather are not in it; first-time customers miss about twice as often.",
    },
    MeasureDefinition {
        name: "travel_share",
        part: Part::Sheet,
        title: "Travel share",
        definition: "Person-minutes on the road divided by person-minutes present.",
        unit: "1",
        counted: "crew weeks",
        denominator_unit: "min",
        misleads: "It follows the customers' addresses more than the driver.",
    },
    MeasureDefinition {
        name: "idle_share",
        part: Part::Sheet,
        title: "Idle share",
        definition: "Person-minutes neither on the road nor on a step, divided by person-minutes present.",
        unit: "1",
        counted: "crew weeks",
        denominator_unit: "min",
        misleads: "Loading, mixing, waiting for shade and talking to the customer are in it: idle is not lazy.",
    },
    MeasureDefinition {
        name: "near_misses",
        part: Part::Sheet,
        title: "Near misses",
        definition: "Near misses reported divided by jobs done, per 100 jobs.",
        unit: "per 100 jobs",
        counted: "jobs",
        denominator_unit: "jobs",
        misleads: "None reported is more often silence than safety: thank who reports.",
    },
    MeasureDefinition {
        name: "step_actual_to_planned",
        part: Part::Steps,
        title: "Minutes spent to minutes planned, by step",
        definition: "Median over finished steps of minutes spent divided by minutes planned, of a step and of each \
                     technician on it, with the middle 80 %.",
        unit: "1",
        counted: "steps",
        denominator_unit: "steps",
        misleads: "Who gets the bad cars needs longer for the same step: grades are mixed in it.",
    },
    MeasureDefinition {
        name: "wear_per_job",
        part: Part::Wear,
        title: "Clay, towels and stock used up",
        definition: "What counts of the vans say was used up, divided by jobs done in the same time.",
        unit: "of the item/job",
        counted: "jobs",
        denominator_unit: "jobs",
        misleads: "It is as good as the counts: a week in which nobody counted looks thrifty, the next one wasteful.",
    },
    MeasureDefinition {
        name: "minutes_index",
        part: Part::Crews,
        title: "Time for the same jobs",
        definition: "Person-minutes per weighted m2 divided by what all crews take on average for jobs of the same \
                     package, class and grade band (geometric mean; 1 is the shop).",
        unit: "1",
        counted: "jobs",
        denominator_unit: "jobs",
        misleads: "A low index with much rework is haste. It says nothing of what was not recorded: dogs, stairs, \
                   hoses.",
    },
    MeasureDefinition {
        name: "failed_checks_index",
        part: Part::Crews,
        title: "Checks that did not hold at once",
        definition: "Steps whose check failed at first, divided by what all crews had on jobs of the same package, \
                     class and grade band.",
        unit: "1",
        counted: "jobs",
        denominator_unit: "expected failures",
        misleads: "The one who works judges the check: few failures may be a mild judge.",
    },
    MeasureDefinition {
        name: "rework_index",
        part: Part::Crews,
        title: "Rework within 14 days, beside other crews",
        definition: "Jobs worked on again within 14 days, divided by what all crews had on jobs of the same package, \
                     class and grade band.",
        unit: "1",
        counted: "jobs",
        denominator_unit: "expected reworks",
        misleads: "Not every customer complains, and spots show on dark cars first.",
    },
    MeasureDefinition {
        name: "learning_curve",
        part: Part::People,
        title: "Learning",
        definition: "Share of the time that each doubling of a technician's finished steps of one kind takes (Wright's \
                     curve).",
        unit: "1",
        counted: "steps",
        denominator_unit: "steps",
        misleads: "Other cars, another season or new chemistry look like learning too.",
    },
    MeasureDefinition {
        name: "learned_norm",
        part: Part::People,
        title: "Minutes that plans expect",
        definition: "What plans expect of a step at a grade, of anybody and of a technician, as a factor on the \
                     handbook's minutes, learned from finished steps that passed.",
        unit: "1",
        counted: "steps",
        denominator_unit: "steps",
        misleads: "A teacher's minutes are slow, a helper's fast: the owner may hold a value back.",
    },
];
