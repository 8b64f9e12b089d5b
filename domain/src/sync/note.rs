//! Texts and fields that two people may change while neither hears of the other.

use std::collections::BTreeMap;

/// A text that is changed in place, with its revision and who wrote it last.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    pub text: String,
    pub rev: i32,
    /// The phone that wrote it; none: the office.
    pub device: Option<String>,
}

/// What a phone wants it to say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edit<'a> {
    pub text: &'a str,
    /// The revision that it had seen; none: there was no text.
    pub base_rev: Option<i32>,
    pub device: &'a str,
}

/// What becomes of an edit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noted {
    /// The new text stands.
    Written,
    /// It said so already.
    Unchanged,
    /// Somebody else wrote meanwhile: their text stays, and this one is kept as a comment.
    KeptAsComment,
}

/// Decides on an edit. A phone is never in conflict with itself: what it wrote while out of reach builds on its own text.
pub fn edit_note(now: Option<&Note>, edit: Edit<'_>) -> Noted {
    match now {
        Some(note) if note.text == edit.text => Noted::Unchanged,
        Some(note) if edit.base_rev != Some(note.rev) && note.device.as_deref() != Some(edit.device) => {
            Noted::KeptAsComment
        }
        _ => Noted::Written,
    }
}

/// A field that got another value, and the one that it had: that stays in the history.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldChange<V> {
    pub field: String,
    pub before: Option<V>,
    pub after: V,
}

/// Writes the fields that were touched into a form, and nothing else: whoever arrives last wins field by field.
pub fn merge_fields<V: Clone + PartialEq>(
    form: &mut BTreeMap<String, V>,
    touched: &BTreeMap<String, V>,
) -> Vec<FieldChange<V>> {
    let mut changes = Vec::new();
    for (field, after) in touched {
        let before = form.insert(field.clone(), after.clone());
        if before.as_ref() != Some(after) {
            changes.push(FieldChange { field: field.clone(), before, after: after.clone() });
        }
    }
    changes
}

#[cfg(test)]
mod tests {
    use super::{Edit, Note, Noted, edit_note, merge_fields};
    use proptest::prelude::*;
    use std::collections::BTreeMap;

    #[test]
    fn the_text_of_the_office_stays_where_both_wrote() {
        let office = Note { text: "gate code 7".into(), rev: 2, device: None };
        let edit = |text, base_rev| Edit { text, base_rev, device: "phone" };
        assert_eq!(edit_note(None, edit("dog", None)), Noted::Written);
        assert_eq!(edit_note(Some(&office), edit("dog", Some(2))), Noted::Written);
        assert_eq!(edit_note(Some(&office), edit("dog", Some(1))), Noted::KeptAsComment);
        assert_eq!(edit_note(Some(&office), edit("dog", None)), Noted::KeptAsComment);
        assert_eq!(edit_note(Some(&office), edit("gate code 7", Some(1))), Noted::Unchanged);
        let own = Note { device: Some("phone".into()), ..office };
        assert_eq!(edit_note(Some(&own), edit("dog", Some(1))), Noted::Written);
    }

    fn fields() -> impl Strategy<Value = BTreeMap<String, u8>> {
        prop::collection::btree_map("[a-d]", any::<u8>(), 0..4)
    }

    proptest! {
        /// Fields that only one of two phones touched are the same in either order; of the others the last one stands.
        #[test]
        fn phones_that_touch_different_fields_commute(start in fields(), one in fields(), two in fields()) {
            let after = |order: [&BTreeMap<String, u8>; 2]| {
                let mut form = start.clone();
                order.iter().for_each(|touched| drop(merge_fields(&mut form, touched)));
                form
            };
            let (forth, back) = (after([&one, &two]), after([&two, &one]));
            for field in forth.keys().filter(|field| !(one.contains_key(*field) && two.contains_key(*field))) {
                prop_assert_eq!(forth.get(field), back.get(field));
            }
            for (field, value) in &two {
                prop_assert_eq!(forth.get(field), Some(value));
            }
        }

        /// From the changes the form as it was can be had again.
        #[test]
        fn no_value_is_lost(start in fields(), touched in fields()) {
            let mut form = start.clone();
            for change in merge_fields(&mut form, &touched) {
                match change.before {
                    Some(before) => form.insert(change.field, before),
                    None => form.remove(&change.field),
                };
            }
            prop_assert_eq!(form, start);
        }
    }
}
