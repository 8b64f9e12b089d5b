//! Who may use which route: one table, no blank cell. A route that is not listed here answers nobody.
//!
//! Within a route a technician sees only their own work ([`super::Caller::only_own_work`]).

use super::{Caller, Role, Scope, Who};
use crate::error::ApiError;
use crate::route::Route;

const O: u8 = 1;
const D: u8 = 2;
const L: u8 = 4;
const T: u8 = 8;
/// Only partner apps.
const NOBODY: u8 = 0;
/// The office.
const OD: u8 = O | D;
/// All who plan or lead work.
const ODL: u8 = O | D | L;
/// Who answers for what a crew gets through. The dispatcher plans with the load ahead and is told nothing of people.
const OL: u8 = O | L;
/// Who goes to customers.
const LT: u8 = L | T;
/// Everybody in the shop.
const ALL: u8 = O | D | L | T;

/// One route: method, address, roles that may use it, scope that lets a partner app use it.
pub type Row = (&'static str, &'static str, u8, Option<Scope>);

/// Every route that needs a caller.
pub const TABLE: &[Row] = &[
    ("GET", "/v1/shop", ALL, None),
    ("PATCH", "/v1/shop", O, None),
    ("GET", "/v1/people", ODL, None),
    ("POST", "/v1/people", O, None),
    ("GET", "/v1/me", ALL, None),
    ("GET", "/v1/me/logins", ALL, None),
    ("DELETE", "/v1/me/logins/{id}", ALL, None),
    ("PUT", "/v1/me/password", ALL, None),
    ("GET", "/v1/people/{id}", ODL, None),
    ("PUT", "/v1/people/{id}", O, None),
    ("PATCH", "/v1/people/{id}", O, None),
    ("PUT", "/v1/people/{id}/password", O, None),
    ("POST", "/v1/people/{id}/disable", O, None),
    ("POST", "/v1/people/{id}/enable", O, None),
    ("GET", "/v1/partner-apps", O, None),
    ("POST", "/v1/partner-apps", O, None),
    ("GET", "/v1/partner-apps/{id}", O, None),
    ("PATCH", "/v1/partner-apps/{id}", O, None),
    ("POST", "/v1/partner-apps/{id}/secret", O, None),
    ("POST", "/v1/partner-apps/{id}/secret/retire", O, None),
    ("POST", "/v1/partner-apps/{id}/disable", O, None),
    ("GET", "/v1/webhooks", O, Some(Scope::Webhooks)),
    ("POST", "/v1/webhooks", O, Some(Scope::Webhooks)),
    ("GET", "/v1/webhooks/{id}", O, Some(Scope::Webhooks)),
    ("PATCH", "/v1/webhooks/{id}", O, Some(Scope::Webhooks)),
    ("DELETE", "/v1/webhooks/{id}", O, Some(Scope::Webhooks)),
    ("POST", "/v1/webhooks/{id}/enable", O, Some(Scope::Webhooks)),
    ("POST", "/v1/webhooks/{id}/secret", O, Some(Scope::Webhooks)),
    ("POST", "/v1/webhooks/{id}/test", O, Some(Scope::Webhooks)),
    ("GET", "/v1/webhooks/{id}/deliveries", O, Some(Scope::Webhooks)),
    ("GET", "/v1/webhooks/{id}/deliveries/{record}", O, Some(Scope::Webhooks)),
    ("POST", "/v1/webhooks/{id}/deliveries/{record}/replay", O, Some(Scope::Webhooks)),
    ("GET", "/v1/customers", ODL, None),
    ("POST", "/v1/customers", OD, None),
    ("GET", "/v1/customers/{id}", ALL, None),
    ("PUT", "/v1/customers/{id}", OD, None),
    ("PATCH", "/v1/customers/{id}", OD, None),
    ("GET", "/v1/customers/{id}/consents", OD, None),
    ("POST", "/v1/customers/{id}/consents", OD, None),
    ("GET", "/v1/customers/{id}/export", O, None),
    ("POST", "/v1/customers/{id}/erase", O, None),
    ("GET", "/v1/customers/{id}/vehicles", ALL, None),
    ("GET", "/v1/vehicles", ODL, None),
    ("POST", "/v1/vehicles", OD, None),
    ("GET", "/v1/vehicles/{id}", ALL, None),
    ("PUT", "/v1/vehicles/{id}", OD, None),
    ("PATCH", "/v1/vehicles/{id}", ODL, None),
    ("GET", "/v1/vans", ALL, None),
    ("POST", "/v1/vans", OD, None),
    ("GET", "/v1/vans/{id}", ALL, None),
    ("PUT", "/v1/vans/{id}", OD, None),
    ("PATCH", "/v1/vans/{id}", OD, None),
    ("GET", "/v1/vans/{id}/stock", ALL, None),
    ("GET", "/v1/vans/{id}/checks", ALL, None),
    ("POST", "/v1/vans/{id}/checks", ALL, None),
    ("GET", "/v1/near-misses", ALL, None),
    ("POST", "/v1/near-misses", ALL, None),
    ("GET", "/v1/jobs", ALL, None),
    ("POST", "/v1/jobs", OD, None),
    ("GET", "/v1/jobs/{id}", ALL, None),
    ("PUT", "/v1/jobs/{id}", OD, None),
    ("PATCH", "/v1/jobs/{id}", OD, None),
    ("PUT", "/v1/jobs/{id}/assignment", OD, None),
    ("POST", "/v1/jobs/{id}/cancel", OD, None),
    ("GET", "/v1/bookings", OD, Some(Scope::OffersWrite)),
    ("POST", "/v1/bookings", NOBODY, Some(Scope::OffersWrite)),
    ("GET", "/v1/bookings/{id}", OD, Some(Scope::OffersWrite)),
    ("POST", "/v1/bookings/{id}/accept", OD, None),
    ("POST", "/v1/bookings/{id}/decline", OD, None),
    ("POST", "/v1/bookings/{id}/withdraw", OD, Some(Scope::OffersWrite)),
    ("GET", "/v1/calendar-feeds", ALL, Some(Scope::OffersWrite)),
    ("POST", "/v1/calendar-feeds", ALL, Some(Scope::OffersWrite)),
    ("DELETE", "/v1/calendar-feeds/{id}", ALL, Some(Scope::OffersWrite)),
    ("GET", "/v1/rounds", ALL, None),
    ("GET", "/v1/round-plans", ODL, None),
    ("POST", "/v1/round-plans", OD, None),
    ("GET", "/v1/round-plans/{id}", ODL, None),
    ("GET", "/v1/round-plans/{id}/events", ODL, None),
    ("POST", "/v1/round-plans/{id}/cancel", OD, None),
    ("POST", "/v1/round-plans/{id}/publish", OD, None),
    ("POST", "/v1/offers", OD, Some(Scope::OffersWrite)),
    ("GET", "/v1/held-offers", OD, Some(Scope::OffersWrite)),
    ("POST", "/v1/held-offers", OD, Some(Scope::OffersWrite)),
    ("GET", "/v1/held-offers/{id}", OD, Some(Scope::OffersWrite)),
    ("DELETE", "/v1/held-offers/{id}", OD, Some(Scope::OffersWrite)),
    ("POST", "/v1/held-offers/{id}/take", OD, Some(Scope::OffersWrite)),
    ("GET", "/v1/travel-matrix", OD, None),
    ("PUT", "/v1/travel-matrix", OD, None),
    ("DELETE", "/v1/travel-matrix", OD, None),
    ("GET", "/v1/throughput", OL, None),
    ("GET", "/v1/throughput/measures", ALL, None),
    ("GET", "/v1/throughput/own", LT, None),
    ("GET", "/v1/throughput/comparisons", O, None),
    ("GET", "/v1/throughput/trends", OL, None),
    ("GET", "/v1/throughput/ahead", OD, None),
    ("GET", "/v1/throughput/weeks", O, None),
    ("POST", "/v1/throughput/weeks/{week}/close", O, None),
    ("GET", "/v1/norms", O, None),
    ("PUT", "/v1/norms/veto", O, None),
    ("GET", "/v1/reminders", OD, None),
    ("GET", "/v1/message-gateway", O, None),
    ("PUT", "/v1/message-gateway", O, None),
    ("POST", "/v1/message-gateway/secret", O, None),
    ("GET", "/v1/message-kinds", OD, None),
    ("GET", "/v1/message-templates", OD, None),
    ("POST", "/v1/message-templates", O, None),
    ("GET", "/v1/message-templates/{id}", OD, None),
    ("PATCH", "/v1/message-templates/{id}", O, None),
    ("DELETE", "/v1/message-templates/{id}", O, None),
    ("POST", "/v1/message-previews", OD, None),
    ("GET", "/v1/replies", OD, None),
    ("POST", "/v1/replies/{id}/handled", OD, None),
    ("POST", "/v1/jobs/{id}/on-the-way", ALL, None),
    ("GET", "/v1/audit", O, None),
    ("GET", "/v1/audit/state", O, None),
    ("GET", "/v1/tasks", O, None),
    ("POST", "/v1/tasks/{id}/replay", O, None),
    ("GET", "/v1/jobs/{id}/inspections", ALL, None),
    ("POST", "/v1/jobs/{id}/inspections", ALL, None),
    ("GET", "/v1/jobs/{id}/waivers", ALL, None),
    ("POST", "/v1/jobs/{id}/waivers", ALL, None),
    ("POST", "/v1/jobs/{id}/plan", ODL, None),
    ("GET", "/v1/jobs/{id}/plan", ALL, Some(Scope::PlansRead)),
    ("GET", "/v1/jobs/{id}/plans", ALL, Some(Scope::PlansRead)),
    ("POST", "/v1/jobs/{id}/plan/acknowledgements", ALL, None),
    ("POST", "/v1/jobs/{id}/plan/compare", ODL, None),
    ("GET", "/v1/jobs/{id}/timeline", ALL, Some(Scope::PlansRead)),
    ("GET", "/v1/jobs/{id}/quote", ODL, None),
    ("POST", "/v1/plans/preview", ODL, Some(Scope::PlansRead)),
    ("GET", "/v1/jobs/{id}/steps", ALL, None),
    ("GET", "/v1/jobs/{id}/step-states", ALL, None),
    ("POST", "/v1/jobs/{id}/steps", ALL, None),
    ("GET", "/v1/jobs/{id}/step-changes", ALL, None),
    ("POST", "/v1/jobs/{id}/steps/{record}/correction", ALL, None),
    ("POST", "/v1/jobs/{id}/steps/{record}/void", ALL, None),
    ("GET", "/v1/jobs/{id}/arrival", ALL, None),
    ("PUT", "/v1/jobs/{id}/arrival", ALL, None),
    ("GET", "/v1/jobs/{id}/extra-work", ALL, None),
    ("POST", "/v1/jobs/{id}/extra-work", ALL, None),
    ("POST", "/v1/jobs/{id}/finish", ALL, None),
    ("GET", "/v1/sync/pull", ALL, None),
    ("POST", "/v1/sync/push", ALL, None),
    ("GET", "/v1/sync/events", ALL, None),
    ("GET", "/v1/devices", ALL, None),
    ("GET", "/v1/devices/{id}", ALL, None),
    ("PUT", "/v1/devices/{id}", ALL, None),
    ("POST", "/v1/devices/{id}/revoke", OD, None),
    ("GET", "/v1/inbox", OD, None),
    ("GET", "/v1/inbox/{id}", OD, None),
    ("POST", "/v1/inbox/{id}/accept", OD, None),
    ("POST", "/v1/inbox/{id}/discard", OD, None),
    ("POST", "/v1/uploads", ALL, None),
    ("GET", "/v1/uploads/{id}", ALL, None),
    ("HEAD", "/v1/uploads/{id}", ALL, None),
    ("PATCH", "/v1/uploads/{id}", ALL, None),
    ("DELETE", "/v1/uploads/{id}", ALL, None),
    ("GET", "/v1/vehicles/{id}/upkeep", ALL, Some(Scope::UpkeepRead)),
    ("GET", "/v1/vehicles/{id}/upkeep.svg", ALL, Some(Scope::UpkeepRead)),
    ("POST", "/v1/vehicles/{id}/upkeep", ODL, None),
    ("GET", "/v1/vehicles/{id}/upkeep/move", ALL, Some(Scope::UpkeepRead)),
    ("GET", "/v1/vehicles/{id}/upkeep/checks", ALL, Some(Scope::UpkeepRead)),
    ("GET", "/v1/vehicles/{id}/observations", ALL, None),
    ("POST", "/v1/vehicles/{id}/observations", ALL, None),
    ("DELETE", "/v1/observations/{id}", ODL, None),
    ("GET", "/v1/upkeep", ODL, Some(Scope::UpkeepRead)),
    ("GET", "/v1/upkeep.csv", ODL, None),
    ("GET", "/v1/upkeep/calibration", OL, None),
    ("GET", "/v1/upkeep/forecasts", ODL, None),
    ("POST", "/v1/upkeep/forecasts", OD, None),
    ("GET", "/v1/weather/{date}", ALL, None),
    ("PUT", "/v1/weather/{date}", OD, None),
    ("GET", "/v1/handbook", ALL, None),
    ("GET", "/v1/handbook/overrides", OD, None),
    ("PUT", "/v1/handbook/overrides", O, None),
];

/// Routes that answer without a token.
pub const OPEN: &[(&str, &str)] = &[
    ("GET", "/health"),
    ("OPTIONS", "/v1/uploads"),
    ("GET", "/openapi.json"),
    ("POST", "/v1/login"),
    ("POST", "/v1/token"),
    ("POST", "/v1/logout"),
    ("POST", "/oauth/token"),
    ("POST", "/oauth/revoke"),
    ("POST", "/oauth/introspect"),
    ("GET", "/.well-known/oauth-authorization-server"),
    ("GET", "/.well-known/jwks.json"),
    ("GET", "/calendars/{token}"),
    ("GET", "/u/{token}"),
    ("POST", "/u/{token}"),
    ("GET", "/c/{token}"),
    ("POST", "/c/{token}"),
    ("POST", "/replies/{shop}"),
];

const ROLES: [(u8, &str); 4] = [(O, "owner"), (D, "dispatcher"), (L, "lead"), (T, "technician")];

/// The roles that may use a route, by their words.
pub fn roles(row: &Row) -> Vec<&'static str> {
    ROLES.iter().filter(|(bit, _)| row.2 & bit != 0).map(|(_, word)| *word).collect()
}

/// The whole table, in Markdown: a cell for every route and everybody.
pub fn table() -> String {
    let line = |cells: Vec<&str>| format!("| {} |\n", cells.join(" | "));
    let heads: Vec<&str> =
        ["route"].into_iter().chain(ROLES.map(|(_, word)| word)).chain(["partner app"]).collect();
    let mut text = line(heads.clone()) + &line(vec!["---"; heads.len()]);
    for row in TABLE {
        let route = format!("`{} {}`", row.0, row.1);
        let may = ROLES.map(|(bit, _)| if row.2 & bit == 0 { "no" } else { "yes" });
        let app = row.3.map_or("no", Scope::word);
        text += &line([route.as_str()].into_iter().chain(may).chain([app]).collect());
    }
    text
}

/// The roles and the scope that may use a route, in words, for the documentation.
pub fn words(row: &Row) -> String {
    let apps = row.3.map(|scope| format!("partner apps with the scope {}", scope.word()));
    let people = Some(roles(row).join(", ")).filter(|people| !people.is_empty());
    people.into_iter().chain(apps).collect::<Vec<_>>().join("; ")
}

pub fn check(route: Option<&Route>, caller: &Caller) -> Result<(), ApiError> {
    let row = route.and_then(|route| route.row);
    let (_, _, roles, scope) = row.ok_or(ApiError::Forbidden("this route takes no token"))?;
    match &caller.who {
        Who::House => Ok(()),
        Who::Person { role, .. } if roles & bit(*role) != 0 => Ok(()),
        Who::Person { .. } => Err(ApiError::Forbidden("your role may not do this")),
        Who::App { scopes, .. } if scope.is_some_and(|scope| scopes.contains(&scope)) => Ok(()),
        Who::App { .. } => Err(ApiError::Forbidden("the scope of this app does not allow it")),
    }
}

fn bit(role: Role) -> u8 {
    match role {
        Role::Owner => O,
        Role::Dispatcher => D,
        Role::Lead => L,
        Role::Technician => T,
    }
}
