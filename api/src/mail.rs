//! Mail to customers: how a letter becomes a message (RFC 5322), and the ways it can go.

use crate::db::kinds::{Id, Instant};
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Mailbox, MultiPart, SinglePart};
use lettre::transport::smtp::Error as SmtpError;
use lettre::{Address, AsyncSmtpTransport, AsyncTransport, Message, Tokio1Executor};
use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, UNIX_EPOCH};

/// How long one command of the mail server may take.
const SMTP_TIMEOUT: Duration = Duration::from_secs(20);

/// The way mail goes.
#[derive(Clone)]
pub enum Mail {
    /// A mail server.
    Smtp(AsyncSmtpTransport<Tokio1Executor>),
    /// One `.eml` file per message, named by its id: the same message again is the same file.
    Folder(PathBuf),
    /// Kept in this process.
    Memory(Arc<Mutex<Vec<Vec<u8>>>>),
}

/// What is to be sent. Texts may hold anything: no header can be forged by them.
#[derive(Debug, Clone, PartialEq)]
pub struct Letter {
    /// The same for the same reminder, however often it is sent: letters, digits, `-` and `.`.
    pub id: String,
    pub from_name: String,
    pub from: String,
    pub to_name: String,
    pub to: String,
    pub subject: String,
    /// Plain text, without the links.
    pub text: String,
    /// Tag of its language.
    pub language: String,
    /// Where the customer sees and changes what it speaks of.
    pub page: Link,
    /// Where a click ends messages like this one.
    pub unsubscribe: Link,
    pub at: Instant,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// For instance `End maintenance reminders`.
    pub words: String,
    pub url: String,
}

/// The letter was not delivered, or nobody knows.
#[derive(Debug, thiserror::Error)]
pub enum Undelivered {
    /// It was not taken, and it may be tried again.
    #[error("not taken for now: {0}")]
    NotNow(String),
    /// It was not taken and will never be.
    #[error("refused: {0}")]
    Never(String),
    /// It was handed over, but the answer was lost.
    #[error("handed over without an answer: {0}")]
    Unknown(String),
}

/// The setting names no way that mail can go.
#[derive(Debug, thiserror::Error)]
#[error("{0}; use folder:DIR, memory, smtp://HOST or smtps://HOST")]
pub struct NoSuchWay(String);

impl FromStr for Mail {
    type Err = NoSuchWay;

    fn from_str(text: &str) -> Result<Mail, NoSuchWay> {
        match text.split_once(':') {
            None if text == "memory" => Ok(Mail::memory()),
            Some(("folder", folder)) if !folder.is_empty() => Ok(Mail::Folder(folder.into())),
            Some(("smtp" | "smtps", _)) => {
                let builder = AsyncSmtpTransport::<Tokio1Executor>::from_url(text);
                let builder = builder.map_err(|e| NoSuchWay(e.to_string()))?;
                Ok(Mail::Smtp(builder.timeout(Some(SMTP_TIMEOUT)).build()))
            }
            _ => Err(NoSuchWay("there is no such way for mail".into())),
        }
    }
}

/// Without the password of a mail server.
impl fmt::Debug for Mail {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Mail::Smtp(_) => f.write_str("a mail server"),
            Mail::Folder(folder) => write!(f, "the folder {}", folder.display()),
            Mail::Memory(_) => f.write_str("memory"),
        }
    }
}

impl Mail {
    pub fn memory() -> Mail {
        Mail::Memory(Arc::default())
    }

    /// Deletes the files of these messages, as far as there are any; what was sent by a server is out of our hands.
    pub async fn forget(&self, ids: &[Id]) {
        if let Mail::Folder(folder) = self {
            let files: Vec<PathBuf> = ids.iter().map(|id| file(folder, id.as_str())).collect();
            let forget = move || files.iter().filter_map(|file| std::fs::remove_file(file).ok()).count();
            let forgotten = tokio::task::spawn_blocking(forget).await.unwrap_or(0);
            tracing::debug!(forgotten, "mail files of an erased customer");
        }
    }

    pub async fn send(&self, letter: &Letter) -> Result<(), Undelivered> {
        let message = message(letter).map_err(Undelivered::Never)?;
        match self {
            Mail::Smtp(server) => send_by(server, message).await,
            Mail::Folder(folder) => {
                let (folder, name) = (folder.clone(), letter.id.clone());
                let written =
                    tokio::task::spawn_blocking(move || write(&folder, &name, &message.formatted())).await;
                match written {
                    Ok(Ok(())) => Ok(()),
                    Ok(Err(e)) => Err(Undelivered::NotNow(e.to_string())),
                    Err(e) => Err(Undelivered::Unknown(e.to_string())),
                }
            }
            Mail::Memory(letters) => {
                letters.lock().unwrap_or_else(PoisonError::into_inner).push(message.formatted());
                Ok(())
            }
        }
    }
}

/// A first connection only tries the server: while it fails, nothing can have been sent. After that, only an answer
/// of the server tells that a message was not taken.
async fn send_by(server: &AsyncSmtpTransport<Tokio1Executor>, message: Message) -> Result<(), Undelivered> {
    match server.test_connection().await {
        Ok(true) => {}
        Ok(false) => return Err(Undelivered::NotNow("the mail server does not answer".into())),
        Err(e) => return Err(Undelivered::NotNow(told(&e))),
    }
    match server.send(message).await {
        Ok(_) => Ok(()),
        Err(e) if e.is_permanent() => Err(Undelivered::Never(told(&e))),
        Err(e) if e.is_transient() || e.is_client() => Err(Undelivered::NotNow(told(&e))),
        Err(e) => Err(Undelivered::Unknown(told(&e))),
    }
}

/// The error with its causes.
fn told(error: &SmtpError) -> String {
    let mut text = error.to_string();
    let mut cause = std::error::Error::source(error);
    while let Some(error) = cause {
        let more = error.to_string();
        if !text.contains(&more) {
            text = format!("{text}: {more}");
        }
        cause = error.source();
    }
    text
}

/// Written beside and moved into place: nobody ever reads half a file.
fn write(folder: &Path, name: &str, bytes: &[u8]) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let unfinished = folder.join(format!(".{name}.part"));
    std::fs::write(&unfinished, bytes)?;
    std::fs::rename(&unfinished, file(folder, name))
}

/// Where a message is kept.
fn file(folder: &Path, name: &str) -> PathBuf {
    folder.join(format!("{name}.eml"))
}

/// The letter as plain text and as HTML. RFC 8058 lets mail programs unsubscribe by one POST.
fn message(letter: &Letter) -> Result<Message, String> {
    let sent_at = UNIX_EPOCH + Duration::from_secs(u64::try_from(letter.at.unix()).unwrap_or(0));
    let from = mailbox(&letter.from_name, &letter.from)?;
    let host = from.email.domain().to_owned();
    let builder = Message::builder()
        .date(sent_at)
        .from(from)
        .to(mailbox(&letter.to_name, &letter.to)?)
        .subject(one_line(&letter.subject))
        .message_id(Some(format!("<{}@{host}>", letter.id)))
        // RFC 3834: no automatic reply is wanted.
        .raw_header(header("Auto-Submitted", "auto-generated")?)
        .raw_header(header("List-Unsubscribe", &format!("<{}>", one_line(&letter.unsubscribe.url)))?);
    // RFC 8058, 3.1: one click needs an address of https.
    let builder = match letter.unsubscribe.url.starts_with("https://") {
        true => builder.raw_header(header("List-Unsubscribe-Post", "List-Unsubscribe=One-Click")?),
        false => builder,
    };
    let parts = MultiPart::alternative()
        .boundary(format!("part-{}", letter.id))
        .singlepart(SinglePart::builder().header(ContentType::TEXT_PLAIN).body(text(letter)))
        .singlepart(SinglePart::builder().header(ContentType::TEXT_HTML).body(html(letter)));
    builder.multipart(parts).map_err(|e| e.to_string())
}

fn mailbox(name: &str, address: &str) -> Result<Mailbox, String> {
    let address: Address = address.parse().map_err(|e| format!("the address {address:?}: {e}"))?;
    Ok(Mailbox::new(Some(one_line(name)).filter(|name| !name.is_empty()), address))
}

fn header(name: &str, value: &str) -> Result<HeaderValue, String> {
    let name = HeaderName::new_from_ascii(name.to_owned()).map_err(|e| e.to_string())?;
    Ok(HeaderValue::new(name, value.to_owned()))
}

/// Line breaks and other control characters would begin a header of their own.
fn one_line(text: &str) -> String {
    let words: Vec<&str> =
        text.split(|c: char| c.is_control() || c.is_whitespace()).filter(|word| !word.is_empty()).collect();
    words.join(" ")
}

fn text(letter: &Letter) -> String {
    let link = |link: &Link| format!("\n{}: {}\n", one_line(&link.words), one_line(&link.url));
    format!("{}\n{}{}", letter.text, link(&letter.page), link(&letter.unsubscribe))
}

/// Nothing but paragraphs: it reads the same everywhere, fetches nothing and tells nobody that it was read.
fn html(letter: &Letter) -> String {
    let paragraphs: String = letter
        .text
        .split("\n\n")
        .map(|paragraph| format!("<p>{}</p>\n", escape_html(paragraph.trim()).replace('\n', "<br>\n")))
        .collect();
    let link = |link: &Link| {
        let (url, words) = (escape_html(&one_line(&link.url)), escape_html(&one_line(&link.words)));
        format!("<p><a href=\"{url}\">{words}</a></p>\n")
    };
    let end = link(&letter.page) + &link(&letter.unsubscribe);
    format!(
        "<!DOCTYPE html>\n<html lang=\"{}\">\n<head><meta charset=\"utf-8\"><title>{}</title></head>\n<body>\n\
         {paragraphs}{end}</body>\n</html>\n",
        escape_html(if letter.language.is_empty() { "en" } else { &letter.language }),
        escape_html(&one_line(&letter.subject))
    )
}

/// Text as it stands in HTML and in its quoted attributes.
pub fn escape_html(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
        .replace('\'', "&#39;")
}

#[cfg(test)]
mod tests {
    use super::{Letter, Link, Mail};
    use crate::db::kinds::Instant;
    use chrono::NaiveDate;

    /// CR LF and HTML in names reach neither headers nor markup.
    #[tokio::test]
    async fn names_forge_neither_headers_nor_markup() {
        let at = NaiveDate::from_ymd_opt(2026, 5, 4).and_then(|day| day.and_hms_opt(8, 0, 0)).unwrap();
        let letter = Letter {
            id: "0190-x".into(),
            from_name: "Shine\r\nBcc: all@victim.test".into(),
            from: "office@shine.test".into(),
            to_name: "Mia \"M\" <b>\nX-Forged: yes".into(),
            to: "mia@customer.test".into(),
            subject: "Upkeep\r\n\r\n<script>alert(1)</script>".into(),
            text: "Hello <img src=x>,\n\nyours & mine.".into(),
            language: "de\"><script>".into(),
            page: Link {
                words: "See\r\nX-Forged: <i>".into(),
                url: "https://shine.test/c/abc\r\nX-Forged: yes".into(),
            },
            unsubscribe: Link {
                words: "End maintenance reminders".into(),
                url: "https://shine.test/u/abc\r\nX-Forged: yes".into(),
            },
            at: Instant::from_utc(at),
        };
        let mail = Mail::memory();
        mail.send(&letter).await.unwrap();
        let Mail::Memory(sent) = &mail else { unreachable!() };
        let sent = String::from_utf8(sent.lock().unwrap()[0].clone()).unwrap();
        let (head, body) = sent.split_once("\r\n\r\n").unwrap();
        let names: Vec<&str> = head
            .split("\r\n")
            .filter(|line| !line.starts_with([' ', '\t']))
            .map(|line| line.split(':').next().unwrap())
            .collect();
        let expected = [
            "Date",
            "From",
            "To",
            "Subject",
            "Message-ID",
            "Auto-Submitted",
            "List-Unsubscribe",
            "List-Unsubscribe-Post",
            "MIME-Version",
            "Content-Type",
        ];
        assert_eq!(names, expected, "{head}");
        assert!(head.contains("Message-ID: <0190-x@shine.test>"));
        assert!(head.contains("Date: Mon, 04 May 2026 08:00:00 +0000"));
        assert!(head.contains("List-Unsubscribe-Post: List-Unsubscribe=One-Click"));
        // Quoted-printable (RFC 2045, 6.7) undone, as far as it occurs here.
        let body = body.replace("=\r\n", "").replace("=3D", "=");
        assert!(!body.contains("\nX-Forged") && !body.contains("<script"), "{body}");
        let (plain, html) = body.split_once("text/html").unwrap();
        assert!(plain.contains("Hello <img src=x>,") && plain.contains("yours & mine."), "{plain}");
        assert!(!html.contains("<img") && html.contains("See X-Forged: &lt;i&gt;"), "{html}");
        assert!(html.contains("&lt;img src=x&gt;") && html.contains("yours &amp; mine."));
    }
}
