//! What people call the crews and technicians whose ids stand in figures.

use crate::db::{Db, people, vans};
use crate::error::ApiError;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::collections::BTreeMap;

/// More vans or people than any shop has.
const ALL: i64 = 10_000;

/// Names by id.
pub type Names = BTreeMap<String, String>;

pub fn read(db: &mut Db<'_>) -> Result<Names, ApiError> {
    let vans = vans::list(db, None, ALL)?.into_iter().map(|van| (van.id.to_string(), van.fields.name));
    let people = people::list(db, None, ALL)?.into_iter().map(|one| (one.id.to_string(), one.fields.name));
    Ok(vans.collect::<Vec<_>>().into_iter().chain(people).collect())
}

/// The same figures with names in the place of ids, for people to read.
pub fn named<T: Serialize + DeserializeOwned>(figures: &T, names: &Names) -> Result<T, ApiError> {
    let mut value = serde_json::to_value(figures)?;
    rename(&mut value, names);
    Ok(serde_json::from_value(value)?)
}

fn rename(value: &mut Value, names: &Names) {
    match value {
        Value::String(text) => {
            if let Some(name) = names.get(text.as_str()) {
                text.clone_from(name);
            } else if text.len() > ID_LENGTH {
                // A sentence may have ids in it.
                for (id, name) in
                    names.iter().filter(|(id, _)| text.contains(id.as_str())).collect::<Vec<_>>()
                {
                    *text = text.replace(id, name);
                }
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|one| rename(one, names)),
        Value::Object(fields) => fields.values_mut().for_each(|one| rename(one, names)),
        _ => {}
    }
}

/// Characters of an id.
const ID_LENGTH: usize = 36;
