//! The attacks that must fail, on both databases: each is really tried, over HTTP against a running server wherever it can
//! be. Which file has which says its first line; a guard below asks that none is without its test.

mod erasure;
mod kept;
mod logins;
mod outgoing;
mod requests;
mod roles;
mod rows;
pub mod shops;
mod tokens;

/// Numbers are never given anew: a test is named after its own.
const ATTACKS: [&str; 46] = [
    "alg none (any case)",
    "public key as HMAC secret",
    "kid with path, SQL, 1 MB, unknown",
    "jku, x5u, jwk headers ignored, no outbound connection",
    "expired, not yet valid",
    "wrong or missing aud",
    "wrong or missing iss, exp",
    "refresh token used as access token",
    "every single byte of the signature flipped, truncated, padded",
    "key rotation with grace",
    "refresh reuse after the successor was used: family dead",
    "lost refresh reply, retry: 200 and one live branch",
    "50 parallel refreshes: one live branch",
    "client A refreshes B's token",
    "scope or audience widened at refresh",
    "revoked token on every route",
    "introspection of another shop's token: active false",
    "disabled person with an old access token",
    "password change ends other logins",
    "credential stuffing throttled, the real user not locked out",
    "no user enumeration by body or by timing",
    "200 parallel logins: /health waits for none of them",
    "every operation x ids of another shop: 404, equal to an unknown id",
    "own parent, foreign child",
    "foreign ids in bodies, cursors, ETags, calendar URL, export",
    "every method x role: the matrix has no blank cell",
    "PATCH of shop, id, created_at, role, price by a technician",
    "a role sees no field it may not",
    "a tenant predicate removed: row-level security still returns 0 foreign rows",
    "started as superuser or owner: refuses",
    "10,000 alternations of shops over pooled connections: 0 leaks",
    "SQL strings in every string parameter",
    "10 MB body, 10,000-deep JSON, million-element array, gzip bomb",
    "NaN, 1e400, -0, i64+1, negative litres, ratio 0:0",
    "slow headers, half-open and 5,000 idle connections",
    "CL+TE, duplicate headers, TRACE, CONNECT",
    "spoofed X-Forwarded-For, X-Request-Id",
    "webhook to 127.0.0.1, ::1, 169.254.169.254, 0x7f.1, [::ffff:127.0.0.1], 100.64/10, rebinding name, redirect, \
        userinfo, port 25",
    "webhook replay, tamper, old timestamp, rotation",
    "CR LF in names into mail, calendar, log",
    "CSV and HTML injection in exports and mails",
    "canary secrets in logs, errors, metrics",
    "canary personal data after erasure in the database, its log and the outbox",
    "shop A's idempotency key replayed by B",
    "clock back 1 h on one replica",
    "audit row edited or deleted",
];

#[test]
fn every_attack_has_its_test() {
    let sources = [
        include_str!("attacks/erasure.rs"),
        include_str!("attacks/kept.rs"),
        include_str!("attacks/logins.rs"),
        include_str!("attacks/outgoing.rs"),
        include_str!("attacks/requests.rs"),
        include_str!("attacks/roles.rs"),
        include_str!("attacks/rows.rs"),
        include_str!("attacks/shops.rs"),
        include_str!("attacks/tokens.rs"),
    ]
    .concat();
    for (nth, attack) in ATTACKS.iter().enumerate() {
        let name = format!("#[test]\nfn attack_{:02}_", nth + 1);
        assert!(sources.contains(&name), "nobody tries attack {}: {attack}", nth + 1);
    }
}
