//! A mail server for tests (RFC 5321, as far as one client needs it) that does to each mail what it was told to do.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Condvar, Mutex};
use std::time::Duration;

/// What becomes of a mail.
#[derive(Debug, Clone, Copy)]
pub enum Act {
    Take,
    /// Answers the recipient with this line.
    Refuse(&'static str),
    /// Reads the whole mail and hangs up without a word.
    HangUp,
    /// Reads the whole mail and says nothing any more.
    Stall,
}

/// A running server; it takes every mail for which nothing else is planned.
#[derive(Clone)]
pub struct MailServer {
    pub url: String,
    state: Arc<Mutex<State>>,
    arrival: Arc<Condvar>,
}

#[derive(Default)]
struct State {
    planned: VecDeque<Act>,
    seen: Vec<String>,
}

impl MailServer {
    pub fn start() -> MailServer {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let url = format!("smtp://{}", listener.local_addr().expect("an address"));
        let state = Arc::new(Mutex::new(State::default()));
        let server = MailServer { url, state, arrival: Arc::default() };
        let serving = server.clone();
        // It ends with the test process.
        std::thread::spawn(move || {
            for connection in listener.incoming().flatten() {
                let server = serving.clone();
                std::thread::spawn(move || server.talk(&connection));
            }
        });
        server
    }

    /// What becomes of the next mails, one after the other.
    pub fn plan(&self, acts: &[Act]) {
        self.state.lock().expect("no panic").planned.extend(acts);
    }

    /// The mails whose every byte arrived, taken or not.
    pub fn seen(&self) -> Vec<String> {
        self.state.lock().expect("no panic").seen.clone()
    }

    /// How many of them.
    pub fn seen_count(&self) -> usize {
        self.state.lock().expect("no panic").seen.len()
    }

    /// Keeps none of the mails until now.
    pub fn forget(&self) {
        self.state.lock().expect("no panic").seen = Vec::new();
    }

    /// Waits for the next mail, but not for long.
    pub fn wait_a_moment(&self, most: Duration) {
        let state = self.state.lock().expect("no panic");
        drop(self.arrival.wait_timeout(state, most).expect("no panic"));
    }

    /// Waits until a mail has arrived.
    pub fn wait_for_mail(&self) {
        self.wait_for_mails(1);
    }

    /// Waits until so many have arrived.
    pub fn wait_for_mails(&self, many: usize) {
        let state = self.state.lock().expect("no panic");
        drop(self.arrival.wait_while(state, |state| state.seen.len() < many).expect("no panic"));
    }

    fn talk(&self, mut out: &TcpStream) -> Option<()> {
        let mut lines = BufReader::new(out).lines().map_while(Result::ok);
        let mut say = |line: &str| out.write_all(format!("{line}\r\n").as_bytes()).ok();
        say("220 test")?;
        let mut act = Act::Take;
        while let Some(line) = lines.next() {
            let answer = match line.get(..4).unwrap_or_default() {
                "EHLO" => "250 test",
                "MAIL" => {
                    act = self.state.lock().expect("no panic").planned.pop_front().unwrap_or(Act::Take);
                    "250 ok"
                }
                "RCPT" => match act {
                    Act::Refuse(answer) => answer,
                    _ => "250 ok",
                },
                "DATA" => {
                    say("354 go on")?;
                    let mail: Vec<String> = lines.by_ref().take_while(|line| line != ".").collect();
                    self.state.lock().expect("no panic").seen.push(mail.join("\r\n"));
                    self.arrival.notify_all();
                    match act {
                        Act::HangUp => return None,
                        Act::Stall => return lines.last().map(drop),
                        _ => "250 taken",
                    }
                }
                "QUIT" => {
                    say("221 bye")?;
                    return None;
                }
                _ => "250 ok",
            };
            say(answer)?;
        }
        None
    }
}
