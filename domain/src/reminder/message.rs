//! The words of a reminder: plain, with the reason, why it was sent and how to stop it. No claims that frighten.

use super::defaults::{closing, default_template};
use super::template::{Field, Phrase, Template, Values};
use super::{
    BadWeather, Booking, Channel, Coated, Consent, Customer, OwnedVehicle, Purpose, ReminderKind, UnderWay,
};
use crate::civil;
use crate::upkeep::{Need, NeedKind};
use chrono::{Days, NaiveDate};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Plain text; the subject is one line.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Message {
    pub subject: String,
    pub body: String,
    /// The same as a text message.
    #[serde(default)]
    pub text: String,
    /// Tag of the language it is written in.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub language: String,
    /// The words of the link to the customer's page.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub see_page: String,
    /// The words of the link that ends messages of this purpose.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub end_these: String,
}

/// The language of the wording that nobody wrote.
pub const DEFAULT_LANGUAGE: &str = "en";

impl Message {
    /// A template with something to look at in its fields, as a customer would get it.
    pub fn sample(kind: ReminderKind, template: &Template, language: &str) -> Message {
        let values: Values = super::template::fields_of(kind)
            .into_iter()
            .chain([Field::ConsentSource, Field::ConsentDate])
            .map(|field| (field, field.sample().to_owned()))
            .collect();
        written(template, language, (&values, &values), (kind.purpose(), Channel::Mail))
    }
}

pub(super) fn appointment(
    customer: &Customer,
    kind: ReminderKind,
    booking: &Booking,
    consent: &Consent,
    zone: Tz,
) -> Message {
    let starts = civil::local(booking.starts_at, zone);
    let vehicle = customer.vehicles.iter().find(|vehicle| vehicle.id == booking.vehicle);
    let mut values = Values::from([
        (Field::Vehicle, named(vehicle)),
        (Field::Date, weekday_and_date(customer, kind, starts.date())),
        (Field::Time, time(booking, zone)),
        (Field::Work, one_line(&booking.work)),
    ]);
    values.extend(booking.weather.as_ref().map(|weather| (Field::Weather, weather_told(customer, weather))));
    if let Some(UnderWay { arrives_at, .. }) = booking.under_way {
        let arrives = civil::local(arrives_at, zone);
        values.insert(Field::Arrival, arrives.format("%H:%M").to_string());
    }
    finished(customer, kind, (values, Values::new()), (consent, zone))
}

/// The hour, or the time that was given from its beginning to its end, with the day of the end where that is another;
/// the same in every language.
fn time(booking: &Booking, zone: Tz) -> String {
    let starts = civil::local(booking.starts_at, zone);
    let until = booking.given_until.filter(|until| *until > booking.starts_at);
    let end = until.map(|until| civil::local(until, zone)).map_or(String::new(), |until| {
        let same_day = until.date() == starts.date();
        until.format(if same_day { "-%H:%M" } else { " - %Y-%m-%d %H:%M" }).to_string()
    });
    format!("{}{end}", starts.format("%H:%M"))
}

pub(super) fn upkeep(
    customer: &Customer,
    needs: &[(&OwnedVehicle, &Need)],
    kind: ReminderKind,
    consent: &Consent,
    zone: Tz,
    today: NaiveDate,
) -> Message {
    let told = |at_length: bool| -> String {
        let told =
            needs.iter().map(|(vehicle, need)| need_told(customer, kind, (vehicle, need), today, at_length));
        told.collect::<Vec<_>>().join("\n\n")
    };
    let values = Values::from([
        (Field::Vehicle, named(needs.first().map(|(vehicle, _)| *vehicle))),
        (Field::Needs, told(true)),
    ]);
    let in_text = Values::from([(Field::Needs, told(false))]);
    finished(customer, kind, (values, in_text), (consent, zone))
}

/// In the shop's words, else with the reason and, where there is room, the interval in ours.
fn need_told(
    customer: &Customer,
    kind: ReminderKind,
    (vehicle, need): (&OwnedVehicle, &Need),
    today: NaiveDate,
    at_length: bool,
) -> String {
    let day = |on: NaiveDate| date_for(customer, kind, on, "%-d %B %Y");
    let label = one_line(&vehicle.label);
    let values = Values::from([
        (Field::Vehicle, label.clone()),
        (Field::DueOn, day(need.due_on)),
        (Field::EarlyOn, day(need.early_on.unwrap_or(need.due_on))),
        (Field::LateOn, day(need.late_on.unwrap_or(need.due_on))),
    ]);
    let wording = customer.wording.get(&kind);
    wording.and_then(|wording| wording.template.phrase(Phrase::of_need(need.kind), &values)).unwrap_or_else(
        || {
            let when = if need.due_on > today { "best before" } else { "due since" };
            let interval = if at_length { interval(need, today, &day) } else { String::new() };
            let (work, due_on) = (work(need.kind), day(need.due_on));
            format!("{label}: {} We suggest {work}, {when} {due_on}.{interval}", need.reason)
        },
    )
}

/// What the interval of 80 % says of the days from today on, as one more sentence.
fn interval(need: &Need, today: NaiveDate, day: &dyn Fn(NaiveDate) -> String) -> String {
    match (need.early_on, need.late_on) {
        (Some(early), Some(late)) if early > today => {
            format!(
                " Most likely, eight times in ten, the time for it comes between {} and {}.",
                day(early),
                day(late)
            )
        }
        (Some(_), Some(late)) if late > today => {
            format!(" Most likely, nine times in ten, the time for it comes by {}.", day(late))
        }
        (Some(_), Some(_)) => " Most likely the time for it has come.".into(),
        _ => String::new(),
    }
}

pub(super) fn aftercare(customer: &Customer, coated: &Coated, consent: &Consent, zone: Tz) -> Message {
    let vehicle = customer.vehicles.iter().find(|vehicle| vehicle.id == coated.vehicle);
    let kind = ReminderKind::Aftercare;
    let laid_on = civil::local(coated.finished_at, zone).date();
    let until = laid_on.checked_add_days(Days::new(u64::from(coated.no_wash_d))).unwrap_or(laid_on);
    let values = Values::from([
        (Field::Vehicle, named(vehicle)),
        (Field::Work, one_line(&coated.work)),
        (Field::Date, weekday_and_date(customer, kind, until)),
        (Field::Days, coated.no_wash_d.to_string()),
        (Field::Hours, coated.dry_h.to_string()),
    ]);
    finished(customer, kind, (values, Values::new()), (consent, zone))
}

/// With what every message has, in the customer's wording; `in_text`: what a text message says in other words.
fn finished(
    customer: &Customer,
    kind: ReminderKind,
    (mut values, in_text): (Values, Values),
    (consent, zone): (&Consent, Tz),
) -> Message {
    values.extend([
        (Field::CustomerName, one_line(&customer.name)),
        (Field::ShopName, one_line(&customer.shop)),
        (Field::ConsentSource, one_line(&consent.source)),
        (Field::ConsentDate, date_for(customer, kind, civil::local(consent.at, zone).date(), "%-d %B %Y")),
    ]);
    let (template, language) = match customer.wording.get(&kind) {
        Some(wording) => (wording.template.clone(), wording.language.as_str()),
        None => (default_template(kind), DEFAULT_LANGUAGE),
    };
    let in_text = values.clone().into_iter().chain(in_text).collect();
    written(&template, language, (&values, &in_text), (kind.purpose(), consent.channel))
}

fn written(
    template: &Template,
    language: &str,
    (values, in_text): (&Values, &Values),
    why: (Purpose, Channel),
) -> Message {
    let closing = template.closing.clone().unwrap_or_else(|| closing(why.0, why.1));
    let link = |phrase, ours: String| template.phrase(phrase, values).map_or(ours, |words| one_line(&words));
    let body = Template::filled(&template.body, values);
    let mut text = one_line(&Template::filled(&template.text, in_text));
    if !template.text.contains("STOP") {
        text += " STOP ends these.";
    }
    Message {
        subject: one_line(&Template::filled(&template.subject, values)),
        body: format!("{}\n\n{}", body.trim_end(), Template::filled(&closing, values)),
        text,
        language: language.to_owned(),
        see_page: link(Phrase::SeePage, "See it, change it, or have quiet".into()),
        end_these: link(Phrase::EndThese, format!("End {}", why.0.what())),
    }
}

fn weekday_and_date(customer: &Customer, kind: ReminderKind, on: NaiveDate) -> String {
    date_for(customer, kind, on, "%A %-d %B %Y")
}

/// As it reads well in English; in other languages the date as ISO 8601 writes it, which is nobody's and everybody's.
fn date_for(customer: &Customer, kind: ReminderKind, on: NaiveDate, english: &str) -> String {
    let foreign = customer.wording.get(&kind).is_some_and(|wording| !wording.language.starts_with("en"));
    on.format(if foreign { "%Y-%m-%d" } else { english }).to_string()
}

impl Purpose {
    /// What a customer gets for it, in words.
    pub fn what(self) -> &'static str {
        match self {
            Purpose::Appointment => "appointment notices",
            Purpose::Maintenance => "maintenance reminders",
            Purpose::Aftercare => "care advice",
        }
    }
}

impl Channel {
    pub(super) fn way(self) -> &'static str {
        match self {
            Channel::Mail => "mail",
            Channel::Text => "text message",
        }
    }
}

/// As the end of a sentence.
fn weather_told(customer: &Customer, weather: &BadWeather) -> String {
    let (phrase, value, ours) = match *weather {
        BadWeather::TooHot { air_c } => {
            let air_c = format!("{air_c:.0}");
            let ours = format!("{air_c} °C are forecast, too hot to work on the paint");
            (Phrase::TooHot, (Field::AirC, air_c), ours)
        }
        BadWeather::TooCold { air_c } => {
            let air_c = format!("{air_c:.0}");
            let ours = format!("{air_c} °C are forecast, too cold to work with water");
            (Phrase::TooCold, (Field::AirC, air_c), ours)
        }
        BadWeather::TooWet { rain_mm_h } => {
            let rain_mm_h = format!("{rain_mm_h:.1}");
            let ours = format!("rain is forecast ({rain_mm_h} mm an hour), too wet to work");
            (Phrase::TooWet, (Field::RainMmH, rain_mm_h), ours)
        }
    };
    let wording = customer.wording.get(&ReminderKind::WeatherMove);
    wording.and_then(|wording| wording.template.phrase(phrase, &Values::from([value]))).unwrap_or(ours)
}

fn named(vehicle: Option<&OwnedVehicle>) -> String {
    vehicle.map_or("vehicle".to_owned(), |vehicle| one_line(&vehicle.label))
}

fn work(kind: NeedKind) -> &'static str {
    match kind {
        NeedKind::Decontamination => "a deep clean with iron removal",
        NeedKind::Protection => "a renewal of the protection",
        NeedKind::Wash => "a wash",
        NeedKind::SaltFlush => "a flush of underbody and seams",
        NeedKind::FeelTest => "a wash with a feel test",
        NeedKind::SpotRemoval => "a removal of spots",
        NeedKind::FrontWash => "a short wash of the front",
    }
}

/// Names come from outside: no line breaks or control characters reach a header or make a line of their own.
fn one_line(text: &str) -> String {
    text.split(|c: char| c.is_control() || c.is_whitespace())
        .filter(|w| !w.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}
