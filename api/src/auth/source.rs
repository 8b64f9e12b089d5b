//! Where a request comes from, as far as we can tell.

use crate::app::App;
use crate::db::logins::Seen;
use crate::error::ApiError;
use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest};
use std::future::{Ready, ready};
use std::net::IpAddr;

/// Longest name of a client program that is kept, characters.
const LONGEST_CLIENT: usize = 200;

/// The other end.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// The address of the client, or of its network where every client has a million.
    pub address: String,
    /// What the client calls itself.
    pub client: Option<String>,
}

impl Source {
    pub fn seen(&self) -> Seen<'_> {
        (&self.address, self.client.as_deref())
    }
}

impl FromRequest for Source {
    type Error = ApiError;
    type Future = Ready<Result<Source, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let proxies = request.app_data::<Data<App>>().map_or(0, |app| app.config.proxies);
        let client = request.headers().get(header::USER_AGENT).and_then(|value| value.to_str().ok());
        let client = client.map(|text| text.chars().take(LONGEST_CLIENT).collect());
        ready(Ok(Source { address: address(request, usize::from(proxies)), client }))
    }
}

/// The peer, or, behind proxies of ours, what the outermost of them saw. What a client wrote into the header itself
/// stands further left and is not looked at.
fn address(request: &HttpRequest, proxies: usize) -> String {
    let peer = request.peer_addr().map(|peer| peer.ip());
    let seen = match proxies {
        0 => None,
        proxies => {
            let headers = request.headers().get_all("x-forwarded-for");
            let hops: Vec<&str> =
                headers.filter_map(|value| value.to_str().ok()).flat_map(|value| value.split(',')).collect();
            hops.iter().rev().nth(proxies - 1).and_then(|hop| hop.trim().parse().ok())
        }
    };
    seen.or(peer).map_or_else(|| "unknown".into(), network)
}

/// An IPv6 client has a /64 to itself.
fn network(address: IpAddr) -> String {
    match address.to_canonical() {
        IpAddr::V4(address) => address.to_string(),
        IpAddr::V6(address) => {
            let network = std::net::Ipv6Addr::from_bits(address.to_bits() & !u128::from(u64::MAX));
            format!("{network}/64")
        }
    }
}
