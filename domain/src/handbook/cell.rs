//! Cells that hold more than one value: text in the data files (`a;b`, `x=1; y=2`), lists and objects in JSON.

use serde::Deserialize;
use serde::de::{Deserializer, Error, IntoDeserializer, MapAccess, SeqAccess, Visitor};
use std::collections::BTreeMap;
use std::fmt;
use std::marker::PhantomData;

/// `a;b;c`, or a JSON list.
pub(super) fn list<'de, D: Deserializer<'de>, T: Deserialize<'de>>(
    deserializer: D,
) -> Result<Vec<T>, D::Error> {
    deserializer.deserialize_any(List(PhantomData))
}

/// `wind_m_s=5; gust_m_s=11`, or a JSON object of numbers.
pub(super) fn parameters<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<BTreeMap<String, f64>, D::Error> {
    deserializer.deserialize_any(Parameters)
}

struct List<T>(PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for List<T> {
    type Value = Vec<T>;

    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a list")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Vec<T>, E> {
        parts(text).map(|part| T::deserialize(part.into_deserializer())).collect()
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Vec<T>, A::Error> {
        let mut items = Vec::new();
        while let Some(item) = seq.next_element()? {
            items.push(item);
        }
        Ok(items)
    }
}

struct Parameters;

impl<'de> Visitor<'de> for Parameters {
    type Value = BTreeMap<String, f64>;

    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("named numbers")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
        let pair = |part: &str| {
            let (name, value) =
                part.split_once('=').ok_or_else(|| E::custom(format!("no value in {part}")))?;
            Ok((name.to_owned(), value.parse().map_err(E::custom)?))
        };
        parts(text).map(pair).collect()
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        let mut values = BTreeMap::new();
        while let Some((name, value)) = map.next_entry()? {
            values.insert(name, value);
        }
        Ok(values)
    }
}

fn parts(text: &str) -> impl Iterator<Item = &str> {
    text.split(';').map(str::trim).filter(|part| !part.is_empty())
}
