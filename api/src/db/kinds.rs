//! The three column types both databases share: ids and documents as text, instants as UTC timestamps.

use chrono::{DateTime, NaiveDateTime, SubsecRound, TimeDelta, Utc};
use diesel::backend::Backend;
use diesel::deserialize::{self, FromSql, FromSqlRow};
use diesel::expression::AsExpression;
use diesel::pg::Pg;
use diesel::serialize::{self, IsNull, Output, ToSql};
use diesel::sql_types::{Text, Timestamp};
use diesel::sqlite::Sqlite;
use serde::de::{DeserializeOwned, Error as _};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;
use std::io::Write;
use std::str::FromStr;
use std::sync::{LazyLock, Mutex, PoisonError};
use utoipa::ToSchema;
use utoipa::openapi::{KnownFormat, ObjectBuilder, RefOr, Schema, SchemaFormat, Type};
use uuid::{ContextV7, Uuid};

use super::MultiBackend;

/// An id of a row: a UUID in its canonical lower-case text. Ours are version 7, so they sort by creation.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, AsExpression, FromSqlRow)]
#[diesel(sql_type = Text)]
pub struct Id([u8; 36]);

impl Id {
    /// A new id for something made at `now`. Of two made in this process for the same millisecond, one after the
    /// other, the later one is greater.
    pub fn new(now: Instant) -> Id {
        static COUNTER: LazyLock<Mutex<ContextV7>> = LazyLock::new(|| Mutex::new(ContextV7::new()));
        let counter = COUNTER.lock().unwrap_or_else(PoisonError::into_inner);
        let (seconds, nanos) = (now.0.and_utc().timestamp(), now.0.and_utc().timestamp_subsec_nanos());
        let stamp = uuid::Timestamp::from_unix(&*counter, u64::try_from(seconds).unwrap_or(0), nanos);
        Id::from(Uuid::new_v7(stamp))
    }

    pub fn as_str(&self) -> &str {
        // Only `From<Uuid>` builds one, and it writes ASCII.
        std::str::from_utf8(&self.0).unwrap_or_default()
    }

    /// True for version 7, which clients must use for ids they choose.
    pub fn is_v7(&self) -> bool {
        self.0[14] == b'7'
    }
}

impl From<Uuid> for Id {
    fn from(uuid: Uuid) -> Id {
        let mut text = [0; 36];
        uuid.hyphenated().encode_lower(&mut text);
        Id(text)
    }
}

/// The text is not a UUID in its canonical form.
#[derive(Debug, thiserror::Error)]
#[error("not a UUID in its canonical form")]
pub struct NotAnId;

impl FromStr for Id {
    type Err = NotAnId;
    fn from_str(text: &str) -> Result<Id, NotAnId> {
        // One spelling per id: braces, URNs, missing hyphens and capitals are refused.
        if text.len() != 36 || text.bytes().any(|b| b.is_ascii_uppercase()) {
            return Err(NotAnId);
        }
        Uuid::try_parse(text).map(Id::from).map_err(|_| NotAnId)
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl fmt::Debug for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl Serialize for Id {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.as_str())
    }
}

impl<'de> Deserialize<'de> for Id {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Id, D::Error> {
        String::deserialize(from)?.parse().map_err(D::Error::custom)
    }
}

impl utoipa::PartialSchema for Id {
    fn schema() -> RefOr<Schema> {
        text_schema(KnownFormat::Uuid)
    }
}

impl ToSchema for Id {}

impl ToSql<Text, Pg> for Id {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Pg>) -> serialize::Result {
        <str as ToSql<Text, Pg>>::to_sql(self.as_str(), out)
    }
}

impl ToSql<Text, Sqlite> for Id {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Sqlite>) -> serialize::Result {
        <str as ToSql<Text, Sqlite>>::to_sql(self.as_str(), out)
    }
}

impl ToSql<Text, MultiBackend> for Id {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, MultiBackend>) -> serialize::Result {
        out.set_value((Text, self));
        Ok(IsNull::No)
    }
}

impl<DB: Backend> FromSql<Text, DB> for Id
where
    String: FromSql<Text, DB>,
{
    fn from_sql(value: DB::RawValue<'_>) -> deserialize::Result<Id> {
        Ok(String::from_sql(value)?.parse()?)
    }
}

/// A point in time, UTC, to the millisecond. In JSON an RFC 3339 text such as `2026-05-04T08:30:00Z`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, AsExpression, FromSqlRow)]
#[diesel(sql_type = Timestamp)]
pub struct Instant(NaiveDateTime);

impl Instant {
    /// The UTC wall-clock time, cut to the millisecond: both databases keep that exactly.
    pub fn from_utc(utc: NaiveDateTime) -> Instant {
        Instant(utc.trunc_subsecs(3))
    }

    pub fn utc(self) -> NaiveDateTime {
        self.0
    }

    /// Seconds since 1970.
    pub fn unix(self) -> i64 {
        self.0.and_utc().timestamp()
    }

    /// Later by `delta`; at the end of the calendar it stays where it is.
    pub fn plus(self, delta: TimeDelta) -> Instant {
        Instant(self.0.checked_add_signed(delta).unwrap_or(self.0))
    }

    /// Wall-clock time in a zone.
    pub fn local(self, zone: chrono_tz::Tz) -> NaiveDateTime {
        self.0.and_utc().with_timezone(&zone).naive_local()
    }
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // What chrono writes for `{:?}` is RFC 3339 without the offset, and many times faster than a format of our own.
        write!(f, "{:?}Z", self.0)
    }
}

impl Serialize for Instant {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Instant {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Instant, D::Error> {
        let text = String::deserialize(from)?;
        let parsed = DateTime::parse_from_rfc3339(&text)
            .map_err(|e| D::Error::custom(format!("not an RFC 3339 instant with an offset: {e}")))?;
        let utc = parsed.with_timezone(&Utc).naive_utc();
        // What both databases and four-digit years can hold.
        if !(1970..=2199).contains(&chrono::Datelike::year(&utc)) {
            return Err(D::Error::custom("the year is outside 1970 to 2199"));
        }
        Ok(Instant::from_utc(utc))
    }
}

impl utoipa::PartialSchema for Instant {
    fn schema() -> RefOr<Schema> {
        text_schema(KnownFormat::DateTime)
    }
}

impl ToSchema for Instant {}

impl ToSql<Timestamp, Pg> for Instant {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Pg>) -> serialize::Result {
        <NaiveDateTime as ToSql<Timestamp, Pg>>::to_sql(&self.0, out)
    }
}

impl ToSql<Timestamp, Sqlite> for Instant {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Sqlite>) -> serialize::Result {
        // Always three decimals, so that texts compare as instants do.
        out.set_value(self.0.format("%Y-%m-%d %H:%M:%S%.3f").to_string());
        Ok(IsNull::No)
    }
}

impl ToSql<Timestamp, MultiBackend> for Instant {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, MultiBackend>) -> serialize::Result {
        out.set_value((Timestamp, self));
        Ok(IsNull::No)
    }
}

impl<DB: Backend> FromSql<Timestamp, DB> for Instant
where
    NaiveDateTime: FromSql<Timestamp, DB>,
{
    fn from_sql(value: DB::RawValue<'_>) -> deserialize::Result<Instant> {
        NaiveDateTime::from_sql(value).map(Instant::from_utc)
    }
}

/// A document stored as JSON text; in the API it is the document itself.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, AsExpression, FromSqlRow)]
#[serde(transparent)]
#[diesel(sql_type = Text)]
pub struct Doc<T>(pub T);

impl<T: utoipa::PartialSchema> utoipa::PartialSchema for Doc<T> {
    fn schema() -> RefOr<Schema> {
        T::schema()
    }
}

impl<T: ToSchema> ToSchema for Doc<T> {
    fn name() -> Cow<'static, str> {
        T::name()
    }
    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        T::schemas(schemas);
    }
}

impl<T: Serialize + fmt::Debug> ToSql<Text, Pg> for Doc<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Pg>) -> serialize::Result {
        out.write_all(&serde_json::to_vec(&self.0)?)?;
        Ok(IsNull::No)
    }
}

impl<T: Serialize + fmt::Debug> ToSql<Text, Sqlite> for Doc<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Sqlite>) -> serialize::Result {
        out.set_value(serde_json::to_string(&self.0)?);
        Ok(IsNull::No)
    }
}

impl<T: Serialize + fmt::Debug + Send + Sync + 'static> ToSql<Text, MultiBackend> for Doc<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, MultiBackend>) -> serialize::Result {
        out.set_value((Text, self));
        Ok(IsNull::No)
    }
}

impl<T: DeserializeOwned, DB: Backend> FromSql<Text, DB> for Doc<T>
where
    String: FromSql<Text, DB>,
{
    fn from_sql(value: DB::RawValue<'_>) -> deserialize::Result<Doc<T>> {
        Ok(Doc(serde_json::from_str(&String::from_sql(value)?)?))
    }
}

/// One of a closed set of words (an enum whose variants serde writes as plain strings), stored as that word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, AsExpression, FromSqlRow)]
#[serde(transparent)]
#[diesel(sql_type = Text)]
pub struct Word<T>(pub T);

impl<T: Serialize> Word<T> {
    fn text(&self) -> Result<String, serde_json::Error> {
        serde_json::from_value(serde_json::to_value(&self.0)?)
    }
}

impl<T: utoipa::PartialSchema> utoipa::PartialSchema for Word<T> {
    fn schema() -> RefOr<Schema> {
        T::schema()
    }
}

impl<T: ToSchema> ToSchema for Word<T> {
    fn name() -> Cow<'static, str> {
        T::name()
    }
    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        T::schemas(schemas);
    }
}

impl<T: Serialize + fmt::Debug> ToSql<Text, Pg> for Word<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Pg>) -> serialize::Result {
        out.write_all(self.text()?.as_bytes())?;
        Ok(IsNull::No)
    }
}

impl<T: Serialize + fmt::Debug> ToSql<Text, Sqlite> for Word<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Sqlite>) -> serialize::Result {
        out.set_value(self.text()?);
        Ok(IsNull::No)
    }
}

impl<T: Serialize + fmt::Debug + Send + Sync + 'static> ToSql<Text, MultiBackend> for Word<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, MultiBackend>) -> serialize::Result {
        out.set_value((Text, self));
        Ok(IsNull::No)
    }
}

impl<T: DeserializeOwned, DB: Backend> FromSql<Text, DB> for Word<T>
where
    String: FromSql<Text, DB>,
{
    fn from_sql(value: DB::RawValue<'_>) -> deserialize::Result<Word<T>> {
        Ok(Word(serde_json::from_value(serde_json::Value::String(String::from_sql(value)?))?))
    }
}

fn text_schema(format: KnownFormat) -> RefOr<Schema> {
    ObjectBuilder::new().schema_type(Type::String).format(Some(SchemaFormat::KnownFormat(format))).into()
}
