//! What a shop writes in its own words: texts with fields that are filled in, each known by name and checked beforehand.
//!
//! `{vehicle}` stands for the field; a brace itself is written twice.

use super::ReminderKind;
use crate::upkeep::NeedKind;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// The wording of one kind of message.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Template {
    /// One line.
    #[schema(min_length = 1, max_length = 120, example = "Your appointment on {date}")]
    pub subject: String,
    /// Paragraphs, with an empty line between them.
    #[schema(
        min_length = 1,
        max_length = 4000,
        example = "Hello {customer_name},\n\nwe come on {date} at {time}.\n\n{shop_name}"
    )]
    pub body: String,
    /// The same for a text message.
    #[schema(min_length = 1, max_length = 320, example = "{shop_name}: we come on {date} at {time}.")]
    pub text: String,
    /// Why the message is sent and how it is stopped, as the end of a mail; it names the word STOP. Absent: in English.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 600)]
    pub closing: Option<String>,
    /// What is said inside the message without being written above, each at most 300 characters. Absent: in English.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    #[schema(example = json!({ "wash": "{vehicle}: eine Wäsche ist fällig am {due_on}.", "see_page": "Ansehen oder ändern" }))]
    pub phrases: BTreeMap<Phrase, String>,
}

/// What is put together when a message is written, so that no template holds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Phrase {
    /// What `needs` says of one vehicle that needs it; so do the next six. Fields: `vehicle`, `due_on`, `early_on`, `late_on`.
    Decontamination,
    Protection,
    Wash,
    SaltFlush,
    FeelTest,
    SpotRemoval,
    FrontWash,
    /// What `weather` says; field `air_c`.
    TooHot,
    /// The same.
    TooCold,
    /// The same with the field `rain_mm_h`.
    TooWet,
    /// The words of the link to the customer's page.
    SeePage,
    /// The words of the link that ends messages of this purpose.
    EndThese,
}

/// What can be filled in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Field {
    CustomerName,
    ShopName,
    /// As the customer knows it.
    Vehicle,
    /// The day of the appointment, or the last one of the advice, where the customer lives.
    Date,
    /// The hour of the appointment there, or the time that was given for it, from its beginning to its end.
    Time,
    /// The work as the customer knows it.
    Work,
    /// What is wrong with the weather.
    Weather,
    /// When the crew should be there.
    Arrival,
    /// What each vehicle needs, why, and by when; a paragraph each.
    Needs,
    /// Days of the advice.
    Days,
    /// Hours of the advice.
    Hours,
    /// How the customer agreed, in a closing.
    ConsentSource,
    /// When the customer agreed, in a closing.
    ConsentDate,
    /// By when it should be done, in a phrase.
    DueOn,
    /// The days between which the time for it most likely comes (eight times in ten), in a phrase; where that is a rule and
    /// not a matter of chance, the day by which it should be done.
    EarlyOn,
    LateOn,
    /// The air that is forecast, °C, in a phrase.
    AirC,
    /// The rain that is forecast, mm an hour, in a phrase.
    RainMmH,
}

/// The values of one message.
pub type Values = BTreeMap<Field, String>;

/// Where a template is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TemplateFault {
    /// `subject`, `body`, `text`, `closing` or, for instance, `phrases/wash`.
    pub part: String,
    pub code: &'static str,
    pub detail: String,
}

impl Field {
    const ALL: [Field; 18] = [
        Field::CustomerName,
        Field::ShopName,
        Field::Vehicle,
        Field::Date,
        Field::Time,
        Field::Work,
        Field::Weather,
        Field::Arrival,
        Field::Needs,
        Field::Days,
        Field::Hours,
        Field::ConsentSource,
        Field::ConsentDate,
        Field::DueOn,
        Field::EarlyOn,
        Field::LateOn,
        Field::AirC,
        Field::RainMmH,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Field::CustomerName => "customer_name",
            Field::ShopName => "shop_name",
            Field::Vehicle => "vehicle",
            Field::Date => "date",
            Field::Time => "time",
            Field::Work => "work",
            Field::Weather => "weather",
            Field::Arrival => "arrival",
            Field::Needs => "needs",
            Field::Days => "days",
            Field::Hours => "hours",
            Field::ConsentSource => "consent_source",
            Field::ConsentDate => "consent_date",
            Field::DueOn => "due_on",
            Field::EarlyOn => "early_on",
            Field::LateOn => "late_on",
            Field::AirC => "air_c",
            Field::RainMmH => "rain_mm_h",
        }
    }

    /// Something to show a template with.
    pub fn sample(self) -> &'static str {
        match self {
            Field::CustomerName => "Mia",
            Field::ShopName => "Rolling Wash",
            Field::Vehicle => "grey estate",
            Field::Date => "Thursday 7 May 2026",
            Field::Time => "10:00",
            Field::Work => "Deep Cleanse",
            Field::Weather => "34 °C are forecast, too hot to work on the paint",
            Field::Arrival => "10:10",
            Field::Needs => {
                "grey estate: Last iron removal 92 days ago, beside a railway. We suggest a deep clean with iron \
                 removal, best before 20 May 2026."
            }
            Field::Days => "7",
            Field::Hours => "12",
            Field::ConsentSource => "booking form",
            Field::ConsentDate => "2 January 2026",
            Field::DueOn => "20 May 2026",
            Field::EarlyOn => "12 May 2026",
            Field::LateOn => "3 July 2026",
            Field::AirC => "34",
            Field::RainMmH => "1.2",
        }
    }
}

/// The fields that messages of a kind have. Those of the consent are for closings.
pub fn fields_of(kind: ReminderKind) -> Vec<Field> {
    use Field::{Arrival, Date, Days, Hours, Needs, Time, Vehicle, Weather, Work};
    let own: &[Field] = match kind {
        ReminderKind::AppointmentTwoDays | ReminderKind::AppointmentTwoHours => &[Vehicle, Date, Time, Work],
        ReminderKind::WeatherMove => &[Vehicle, Date, Time, Work, Weather],
        ReminderKind::OnTheWay => &[Vehicle, Time, Work, Arrival],
        ReminderKind::Upkeep | ReminderKind::UpkeepFollowUp => &[Vehicle, Needs],
        ReminderKind::Aftercare => &[Vehicle, Work, Date, Days, Hours],
    };
    [Field::CustomerName, Field::ShopName].into_iter().chain(own.iter().copied()).collect()
}

/// The phrases that messages of a kind may have.
pub fn phrases_of(kind: ReminderKind) -> Vec<Phrase> {
    let own: &[Phrase] = match kind {
        ReminderKind::Upkeep | ReminderKind::UpkeepFollowUp => &Phrase::OF_NEEDS,
        ReminderKind::WeatherMove => &[Phrase::TooHot, Phrase::TooCold, Phrase::TooWet],
        _ => &[],
    };
    own.iter().copied().chain([Phrase::SeePage, Phrase::EndThese]).collect()
}

impl Phrase {
    const OF_NEEDS: [Phrase; 7] = [
        Phrase::Decontamination,
        Phrase::Protection,
        Phrase::Wash,
        Phrase::SaltFlush,
        Phrase::FeelTest,
        Phrase::SpotRemoval,
        Phrase::FrontWash,
    ];

    pub(super) fn of_need(kind: NeedKind) -> Phrase {
        match kind {
            NeedKind::Decontamination => Phrase::Decontamination,
            NeedKind::Protection => Phrase::Protection,
            NeedKind::Wash => Phrase::Wash,
            NeedKind::SaltFlush => Phrase::SaltFlush,
            NeedKind::FeelTest => Phrase::FeelTest,
            NeedKind::SpotRemoval => Phrase::SpotRemoval,
            NeedKind::FrontWash => Phrase::FrontWash,
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            Phrase::Decontamination => "decontamination",
            Phrase::Protection => "protection",
            Phrase::Wash => "wash",
            Phrase::SaltFlush => "salt_flush",
            Phrase::FeelTest => "feel_test",
            Phrase::SpotRemoval => "spot_removal",
            Phrase::FrontWash => "front_wash",
            Phrase::TooHot => "too_hot",
            Phrase::TooCold => "too_cold",
            Phrase::TooWet => "too_wet",
            Phrase::SeePage => "see_page",
            Phrase::EndThese => "end_these",
        }
    }

    /// What can be filled in.
    fn fields(self) -> &'static [Field] {
        match self {
            Phrase::TooHot | Phrase::TooCold => &[Field::AirC],
            Phrase::TooWet => &[Field::RainMmH],
            Phrase::SeePage | Phrase::EndThese => &[],
            _ => &[Field::Vehicle, Field::DueOn, Field::EarlyOn, Field::LateOn],
        }
    }
}

impl Template {
    /// A phrase in the words of the template, if it has any.
    pub(super) fn phrase(&self, phrase: Phrase, values: &Values) -> Option<String> {
        self.phrases.get(&phrase).map(|text| Template::filled(text, values))
    }

    /// Everything that is wrong with it for messages of this kind.
    pub fn faults(&self, kind: ReminderKind) -> Vec<TemplateFault> {
        let fields = fields_of(kind);
        let in_closing: Vec<Field> =
            fields.iter().copied().chain([Field::ConsentSource, Field::ConsentDate]).collect();
        let parts = [
            ("subject", Some(&self.subject), &fields),
            ("body", Some(&self.body), &fields),
            ("text", Some(&self.text), &fields),
            ("closing", self.closing.as_ref(), &in_closing),
        ];
        let mut faults: Vec<TemplateFault> = parts
            .into_iter()
            .filter_map(|(part, text, fields)| Some((part, pieces(text?), fields)))
            .filter_map(|(part, pieces, fields)| fault(part, &pieces, fields))
            .collect();
        if self.closing.as_ref().is_some_and(|closing| !closing.contains("STOP")) {
            let detail = "must name STOP, the word that ends the messages".to_owned();
            faults.push(TemplateFault { part: "closing".into(), code: "no_stop_word", detail });
        }
        let known = phrases_of(kind);
        faults.extend(self.phrases.iter().filter_map(|(phrase, text)| {
            let part = format!("phrases/{}", phrase.name());
            if !known.contains(phrase) {
                let names: Vec<&str> = known.iter().map(|phrase| phrase.name()).collect();
                let detail = format!("is no phrase of these messages; known are {}", names.join(", "));
                return Some(TemplateFault { part, code: "unknown_phrase", detail });
            }
            fault(&part, &pieces(text), phrase.fields())
        }));
        faults
    }

    pub(super) fn filled(text: &str, values: &Values) -> String {
        let fill = |piece: &Piece<'_>| match piece {
            Piece::Text(text) => (*text).to_owned(),
            Piece::Brace(brace) => brace.to_string(),
            Piece::Named(name) => value(values, name),
            Piece::Open => "{".to_owned(),
        };
        pieces(text).iter().map(fill).collect()
    }
}

fn value(values: &Values, name: &str) -> String {
    let field = Field::ALL.into_iter().find(|field| field.name() == name);
    field.and_then(|field| values.get(&field)).cloned().unwrap_or_default()
}

fn fault(part: &str, pieces: &[Piece<'_>], fields: &[Field]) -> Option<TemplateFault> {
    pieces.iter().find_map(|piece| match piece {
        Piece::Named(name) if !fields.iter().any(|field| field.name() == *name) => {
            let known: Vec<&str> = fields.iter().map(|field| field.name()).collect();
            let detail = format!("has no field {{{name}}} here; known are {}", known.join(", "));
            Some(TemplateFault { part: part.to_owned(), code: "unknown_field", detail })
        }
        Piece::Open => {
            let detail = "has a brace that does not close; a brace itself is written twice".to_owned();
            Some(TemplateFault { part: part.to_owned(), code: "open_brace", detail })
        }
        _ => None,
    })
}

enum Piece<'a> {
    Text(&'a str),
    /// One that was written twice.
    Brace(char),
    Named(&'a str),
    /// One that does not close, or closes nothing.
    Open,
}

fn pieces(text: &str) -> Vec<Piece<'_>> {
    let mut found = Vec::new();
    let mut rest = text;
    while let Some((before, brace, after)) = split_at_brace(rest) {
        found.push(Piece::Text(before));
        rest = after;
        if let Some(after) = rest.strip_prefix(brace) {
            found.push(Piece::Brace(brace));
            rest = after;
        } else if brace == '{'
            && let Some((name, after)) = rest.split_once('}')
        {
            found.push(Piece::Named(name));
            rest = after;
        } else {
            found.push(Piece::Open);
        }
    }
    found.push(Piece::Text(rest));
    found
}

fn split_at_brace(text: &str) -> Option<(&str, char, &str)> {
    let (at, brace) = text.char_indices().find(|(_, c)| matches!(c, '{' | '}'))?;
    let (before, from) = text.split_at_checked(at)?;
    Some((before, brace, from.strip_prefix(brace)?))
}
