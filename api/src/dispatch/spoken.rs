//! Sentences of the rules speak of ids; people have names for them.

use std::collections::BTreeMap;

/// Letters of an id.
const LENGTH: usize = 36;

/// A sentence with names in place of the ids that have one.
pub fn spoken(text: &str, names: &BTreeMap<String, String>) -> String {
    let mut said = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(|c: char| c.is_ascii_hexdigit()) {
        let (before, from) = rest.split_at(at);
        said.push_str(before);
        let name = from.get(..LENGTH).and_then(|id| names.get(id));
        let taken = if name.is_some() { LENGTH } else { 1 };
        said.push_str(name.map_or(&from[..taken], String::as_str));
        rest = &from[taken..];
    }
    said + rest
}

#[cfg(test)]
mod tests {
    use super::spoken;

    #[test]
    fn ids_become_names_and_all_else_stays() {
        let (job, other) = ("01890000-0000-7000-8000-000000000001", "01890000-0000-7000-8000-000000000002");
        let names = [(job.to_owned(), "P2 for größe".to_owned())].into();
        let text = format!("{job} and {other}: fällt aus, {job}.");
        assert_eq!(spoken(&text, &names), format!("P2 for größe and {other}: fällt aus, P2 for größe."));
        assert_eq!(spoken("", &names), "");
        assert_eq!(spoken("0189", &names), "0189");
    }
}
