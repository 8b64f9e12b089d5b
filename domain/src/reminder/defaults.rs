//! The wording of a shop that has written none: plain English (common practice).

use super::template::Template;
use super::{Channel, Purpose, ReminderKind};
use std::collections::BTreeMap;

/// Why it is sent and how it is stopped.
pub(super) fn closing(purpose: Purpose, channel: Channel) -> String {
    format!(
        "You get this because you agreed to {} by {} on {{consent_date}} ({{consent_source}}). Answer STOP and they end \
         at once.",
        purpose.what(),
        channel.way()
    )
}

/// The wording of a kind of message.
pub fn default_template(kind: ReminderKind) -> Template {
    let (subject, body, text) = match kind {
        ReminderKind::AppointmentTwoDays => (
            "Your appointment on {date}",
            "Hello {customer_name},\n\nwe come to your {vehicle} on {date} at {time}: {work}.\n\nPlease have it where we \
             can walk round it. If the time no longer suits you, just answer in your own words and a person will read \
             it.\n\n{shop_name}",
            "{shop_name}: we come to your {vehicle} on {date} at {time}. If that no longer suits you, just answer.",
        ),
        ReminderKind::AppointmentTwoHours => (
            "Your appointment on {date}",
            "Hello {customer_name},\n\nwe come to your {vehicle} on {date} at {time}: {work}.\n\nPlease have it where we \
             can walk round it. If the time no longer suits you, just answer in your own words and a person will read \
             it.\n\n{shop_name}",
            "{shop_name}: we come to your {vehicle} at {time}. Please have it where we can walk round it.",
        ),
        ReminderKind::WeatherMove => (
            "The weather on {date}: may we move your appointment?",
            "Hello {customer_name},\n\nwe were to come to your {vehicle} on {date} at {time}: {work}. But {weather}. We \
             would like to come at another time.\n\nYou can choose one, or just answer in your own words and a person \
             will read it. Until then nothing is changed.\n\n{shop_name}",
            "{shop_name}: on {date} at {time} {weather}. May we come to your {vehicle} at another time?",
        ),
        ReminderKind::OnTheWay => (
            "We are on our way to your {vehicle}",
            "Hello {customer_name},\n\nwe are on our way to your {vehicle} and should be there at {arrival}.\n\n\
             {shop_name}",
            "{shop_name}: we are on our way to your {vehicle} and should be there at {arrival}.",
        ),
        ReminderKind::Upkeep => (
            "Upkeep of your {vehicle}",
            "Hello {customer_name},\n\n{needs}\n\nIf you would like a visit, just answer this message.\n\n{shop_name}",
            "{shop_name}: {needs}",
        ),
        ReminderKind::UpkeepFollowUp => (
            "Upkeep of your {vehicle}",
            "Hello {customer_name},\n\n{needs}\n\nIf you would like a visit, just answer this message. We wrote about \
             this before and will not write about it again.\n\n{shop_name}",
            "{shop_name}, for the last time about this: {needs}",
        ),
        ReminderKind::Aftercare => (
            "The first days of the new coat on your {vehicle}",
            "Hello {customer_name},\n\nyour {vehicle} has a new coat: {work}. Keep it dry for the first {hours} hours. \
             Until {date} do not wash it, keep it away from sprinklers, and dry off dew with a soft clean towel.\n\nIf a \
             bird leaves something on it, lay a wet cloth on it for ten minutes and lift it off. Do not rub.\n\nWhere \
             the label of the product says something else, the label is right.\n\n{shop_name}",
            "{shop_name}: keep your {vehicle} dry for {hours} hours and do not wash it until {date}. The coat is new.",
        ),
    };
    Template {
        subject: subject.into(),
        body: body.into(),
        text: text.into(),
        closing: None,
        phrases: BTreeMap::new(),
    }
}
