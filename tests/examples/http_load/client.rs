//! An HTTP/1.1 client with as little work of its own as possible: one connection kept alive, requests ready as bytes.

use serde_json::Value;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

/// Longer than any answer may take; then the measurement ends with an error.
const PATIENCE: Duration = Duration::from_secs(30);

pub struct Connection {
    stream: TcpStream,
    buffer: Vec<u8>,
}

/// A request as it goes over the wire.
pub fn request(method: &str, path: &str, token: &str, body: &Value) -> Vec<u8> {
    let mut text = format!("{method} {path} HTTP/1.1\r\nhost: localhost\r\n");
    if !token.is_empty() {
        text += &format!("authorization: Bearer {token}\r\n");
    }
    let body = if body.is_null() { String::new() } else { body.to_string() };
    if !body.is_empty() {
        text += &format!("content-type: application/json\r\ncontent-length: {}\r\n", body.len());
    }
    format!("{text}\r\n{body}").into_bytes()
}

/// One request on a connection of its own; the answer must have this status and hold JSON.
pub fn ask(address: SocketAddr, request: &[u8], expected: u16) -> Value {
    serde_json::from_slice(Connection::open(address).send(request, expected)).expect("JSON")
}

impl Connection {
    pub fn open(address: SocketAddr) -> Connection {
        let stream = TcpStream::connect(address).expect("the server listens");
        stream.set_nodelay(true).expect("a socket");
        stream.set_read_timeout(Some(PATIENCE)).expect("a socket");
        Connection { stream, buffer: Vec::new() }
    }

    /// Sends a request and waits for the whole answer; gives its body. Another status ends the measurement.
    pub fn send(&mut self, request: &[u8], expected: u16) -> &[u8] {
        self.stream.write_all(request).expect("the server reads");
        self.buffer.clear();
        let head = loop {
            self.read_more();
            if let Some(end) = self.buffer.windows(4).position(|four| four == b"\r\n\r\n") {
                break end + 4;
            }
        };
        let text = std::str::from_utf8(&self.buffer[..head]).expect("a header in ASCII");
        let status = text.split(' ').nth(1).and_then(|word| word.parse().ok());
        let length = length_of_body(text);
        while self.buffer.len() < head + length {
            self.read_more();
        }
        let body = &self.buffer[head..];
        assert_eq!(status, Some(expected), "{}", String::from_utf8_lossy(body));
        body
    }

    fn read_more(&mut self) {
        let mut chunk = [0; 16 * 1024];
        let read = self.stream.read(&mut chunk).expect("the server answers");
        assert!(read > 0, "the server closed the connection");
        self.buffer.extend_from_slice(&chunk[..read]);
    }
}

fn length_of_body(head: &str) -> usize {
    let mut fields = head.lines().filter_map(|line| line.split_once(": "));
    let length = fields.find(|(name, _)| name.eq_ignore_ascii_case("content-length"));
    length.and_then(|(_, value)| value.parse().ok()).expect("a content-length")
}
