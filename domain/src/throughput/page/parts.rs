//! Sections, lists and tables; every text is escaped here.

use crate::markup::escape;
use std::fmt::Write;

/// Nothing at all for an empty one.
pub(super) fn section(html: &mut String, id: &str, title: &str, inner: &str) {
    if !inner.is_empty() {
        let _ = write!(
            html,
            "<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{}</h2>\n{inner}</section>\n",
            escape(title)
        );
    }
}

pub(super) fn items<T: AsRef<str>>(texts: &[T]) -> String {
    if texts.is_empty() {
        return String::new();
    }
    let mut list = String::from("<ul>\n");
    for text in texts {
        let _ = writeln!(list, "<li>{}</li>", escape(text.as_ref()));
    }
    list.push_str("</ul>\n");
    list
}

/// A table; cells are escaped here. Of each row the first cell is its head.
pub(super) fn table(heads: &[&str], rows: &[Vec<String>]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let mut html = String::from("<table>\n<thead><tr>");
    for head in heads {
        let _ = write!(html, "<th scope=\"col\">{}</th>", escape(head));
    }
    html.push_str("</tr></thead>\n<tbody>\n");
    for row in rows {
        html.push_str("<tr>");
        for (at, cell) in row.iter().enumerate() {
            let _ = match at {
                0 => write!(html, "<th scope=\"row\">{}</th>", escape(cell)),
                _ if cell.len() < 24 => write!(html, "<td class=\"n\">{}</td>", escape(cell)),
                _ => write!(html, "<td><small>{}</small></td>", escape(cell)),
            };
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody>\n</table>\n");
    html
}
