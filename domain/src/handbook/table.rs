//! One table of the handbook: typed rows in list order, found by id.

use serde::de::DeserializeOwned;
use serde::{Serialize, Serializer};
use std::collections::HashMap;
use std::slice::Iter;

/// Rows in the order of the data file, with an index by id. Rows are never added or removed after reading.
#[derive(Debug, Clone)]
pub struct Table<T> {
    rows: Vec<T>,
    index: HashMap<String, usize>,
    key: fn(&T) -> String,
}

impl<T> Table<T> {
    pub(super) fn new(rows: Vec<T>, key: fn(&T) -> String) -> Table<T> {
        let index = rows.iter().enumerate().map(|(place, row)| (key(row), place)).collect();
        Table { rows, index, key }
    }

    pub fn get(&self, id: &str) -> Option<&T> {
        self.rows.get(self.place(id)?)
    }

    /// Position in list order, which breaks ties in the order of work.
    pub fn place(&self, id: &str) -> Option<usize> {
        self.index.get(id).copied()
    }

    pub fn iter(&self) -> Iter<'_, T> {
        self.rows.iter()
    }

    pub fn len(&self) -> usize {
        self.rows.len()
    }

    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The id under which a row is found.
    pub fn id(&self, row: &T) -> String {
        (self.key)(row)
    }

    /// Ids that more than one row carries.
    pub(super) fn doubled(&self) -> Vec<String> {
        let ids = self.rows.iter().enumerate().map(|(place, row)| (place, self.id(row)));
        ids.filter(|(place, id)| self.place(id) != Some(*place)).map(|(_, id)| id).collect()
    }
}

impl<T: DeserializeOwned> Table<T> {
    /// Reads a built-in data file.
    pub(super) fn read(text: &str, key: fn(&T) -> String) -> Result<Table<T>, csv::Error> {
        let rows =
            csv::Reader::from_reader(text.as_bytes()).into_deserialize().collect::<Result<Vec<T>, _>>()?;
        Ok(Table::new(rows, key))
    }
}

impl<T> Table<T> {
    /// The same table with rows replaced; ids must stay.
    pub(super) fn map_rows(&self, mut row: impl FnMut(&str, &T) -> T) -> Table<T> {
        let rows = self.rows.iter().map(|old| row(&self.id(old), old)).collect();
        Table::new(rows, self.key)
    }
}

impl<'a, T> IntoIterator for &'a Table<T> {
    type Item = &'a T;
    type IntoIter = Iter<'a, T>;

    fn into_iter(self) -> Iter<'a, T> {
        self.rows.iter()
    }
}

impl<T: PartialEq> PartialEq for Table<T> {
    fn eq(&self, other: &Table<T>) -> bool {
        self.rows == other.rows
    }
}

/// An object keyed by id, in list order.
impl<T: Serialize> Serialize for Table<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.rows.iter().map(|row| (self.id(row), row)))
    }
}
