//! Sentences of the rules speak of ids; people have names for them.

use std::collections::BTreeMap;

/// Letters of an id.
const LENGTH: usize = 36;

/// A sentence with names in place of the ids that have one.
pub fn spoken(text: &str, names: &BTreeMap<String, String>) -> String {
    let mut said = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let id = rest
            .split_at_checked(LENGTH)
            .filter(|(id, _)| first.is_ascii_hexdigit() && names.contains_key(*id));
        match id {
            Some((id, after)) => {
                said.push_str(names.get(id).map_or(id, String::as_str));
                rest = after;
            }
            None => {
                said.push(first);
                rest = rest.strip_prefix(first).unwrap_or_default();
            }
        }
    }
    said
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
