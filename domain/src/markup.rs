//! Text made safe for HTML and SVG.

/// Text for an element or a quoted attribute.
pub(crate) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            // Control characters have no place on paper and are errors in HTML.
            control if control.is_control() => safe.push(' '),
            other => safe.push(other),
        }
    }
    safe
}
