//! Who is calling, and whether they may.

pub mod access;
pub mod key_ring;
pub mod links;
pub mod passwords;
pub mod source;
pub mod throttle;
pub mod tokens;

use self::tokens::{AUDIENCE, Claims};
use crate::app::App;
use crate::conventions::once::Attempt;
use crate::db::audit::{Act, ActorKind};
use crate::db::kinds::Id;
use crate::db::{Db, logins, partner_apps, revoked_tokens};
use crate::edge::RequestId;
use crate::error::ApiError;
use crate::route::Route;
use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use serde::{Deserialize, Serialize};
use std::future::{Ready, ready};
use std::sync::Arc;
use utoipa::ToSchema;

/// What a person may do in the shop; `access` has the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    Owner,
    Dispatcher,
    /// Leads a crew on site.
    Lead,
    Technician,
}

/// What a partner app may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub enum Scope {
    #[serde(rename = "plans:read")]
    PlansRead,
    #[serde(rename = "upkeep:read")]
    UpkeepRead,
    #[serde(rename = "offers:write")]
    OffersWrite,
    #[serde(rename = "webhooks")]
    Webhooks,
}

impl Scope {
    pub const ALL: [Scope; 4] = [Scope::PlansRead, Scope::UpkeepRead, Scope::OffersWrite, Scope::Webhooks];

    pub fn from_word(word: &str) -> Option<Scope> {
        serde_json::from_value(serde_json::Value::String(word.to_owned())).ok()
    }

    pub fn word(self) -> &'static str {
        match self {
            Scope::PlansRead => "plans:read",
            Scope::UpkeepRead => "upkeep:read",
            Scope::OffersWrite => "offers:write",
            Scope::Webhooks => "webhooks",
        }
    }
}

/// On whose behalf something is read or written, and in which shop.
#[derive(Debug, Clone)]
pub struct Caller {
    pub shop: Id,
    pub who: Who,
    /// Set when the request has an idempotency key.
    pub attempt: Option<Arc<Attempt>>,
    /// What they are about to do, for the audit log; none where nothing is changed.
    pub act: Option<Act>,
}

#[derive(Debug, Clone)]
pub enum Who {
    Person {
        id: Id,
        role: Role,
        login: Id,
    },
    App {
        id: Id,
        scopes: Vec<Scope>,
        /// The token it shows.
        token: Id,
    },
    /// The house itself: logins, tasks, commands.
    House,
}

impl Caller {
    pub(crate) fn house(shop: Id) -> Caller {
        Caller { shop, who: Who::House, attempt: None, act: None }
    }

    /// The person or the partner app; nobody for the house itself.
    pub fn principal(&self) -> Option<Id> {
        match self.who {
            Who::Person { id, .. } | Who::App { id, .. } => Some(id),
            Who::House => None,
        }
    }

    /// The person calling; partner apps are refused.
    pub fn person(&self) -> Result<Id, ApiError> {
        match self.who {
            Who::Person { id, .. } => Ok(id),
            _ => Err(ApiError::Forbidden("only a person may do this")),
        }
    }

    /// The partner app calling, if it is one.
    pub fn app(&self) -> Option<Id> {
        match self.who {
            Who::App { id, .. } => Some(id),
            _ => None,
        }
    }

    /// Whether this caller is told what the staff are called: a partner app is not.
    pub fn knows_staff(&self) -> bool {
        !matches!(self.who, Who::App { .. })
    }

    /// The technician who sees only their own work; none for every other caller.
    pub fn only_own_work(&self) -> Option<Id> {
        match self.who {
            Who::Person { id, role: Role::Technician, .. } => Some(id),
            _ => None,
        }
    }
}

impl FromRequest for Caller {
    type Error = ApiError;
    type Future = Ready<Result<Caller, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let known = request.extensions().get::<Caller>().cloned();
        ready(known.map_or_else(|| identify(request), Ok))
    }
}

/// The caller as the token says; then the table says whether they may use this route. `conventions` asks it for every
/// request and leaves what it was told with the request.
pub(crate) fn identify(request: &HttpRequest) -> Result<Caller, ApiError> {
    let app = request.app_data::<Data<App>>().ok_or_else(|| ApiError::Internal("no app data".into()))?;
    let mut headers = request.headers().get_all(header::AUTHORIZATION);
    let (Some(header), None) = (headers.next(), headers.next()) else {
        return Err(ApiError::Unauthenticated("send one header `Authorization: Bearer <access token>`"));
    };
    let token = header
        .to_str()
        .ok()
        .and_then(|text| text.split_once(' '))
        .filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"))
        .map(|(_, token)| token.trim())
        .ok_or(ApiError::Unauthenticated("send one header `Authorization: Bearer <access token>`"))?;
    let claims = app.keys.verify(token, app.clock.now())?;
    let mut caller = caller_of(&claims).ok_or(ApiError::Unauthenticated("the access token is not valid"))?;
    let route = Route::of(request);
    access::check(route, &caller)?;
    if let Some(route) = route.filter(|_| !request.method().is_safe()) {
        caller.act = Some(act(request, route, &caller));
    }
    Ok(caller)
}

fn act(request: &HttpRequest, route: &Route, caller: &Caller) -> Act {
    let (by_kind, by_id) = match caller.who {
        Who::Person { id, .. } => (ActorKind::Person, Some(id)),
        Who::App { id, .. } => (ActorKind::App, Some(id)),
        Who::House => (ActorKind::House, None),
    };
    Act {
        by_kind,
        by_id,
        operation: format!("{} {}", route.method, route.path),
        subject: request.path().to_owned(),
        request: request.extensions().get::<RequestId>().map(|id| id.0.clone()).unwrap_or_default(),
    }
}

/// Who a token speaks for: a person or a partner app, never both.
pub fn caller_of(claims: &Claims) -> Option<Caller> {
    let who = match (claims.sid, claims.role, &claims.scope) {
        (Some(login), Some(role), None) => Who::Person { id: claims.sub, role, login },
        (None, None, Some(scopes)) => Who::App {
            id: claims.sub,
            scopes: scopes.split_whitespace().filter_map(Scope::from_word).collect(),
            token: claims.jti,
        },
        _ => return None,
    };
    Some(Caller { shop: claims.shop, who, attempt: None, act: None })
}

const ENDED: ApiError = ApiError::Unauthenticated("the login has ended");

/// A token tells who somebody was minutes ago; this asks the database whether it still
/// holds, and for whom a partner app may act.
pub(crate) fn admit(db: &mut Db<'_>, caller: &Caller) -> Result<(), ApiError> {
    let holds = match &caller.who {
        Who::House => true,
        Who::Person { id, role, login } => logins::live_role(db, *login, *id)? == Some(*role),
        Who::App { id, scopes, token } => {
            let Some(grant) = partner_apps::grant(db, *id)? else { return Err(ENDED) };
            db.granted = grant.customers.map(|customers| customers.0);
            scopes.iter().all(|scope| grant.scopes.0.contains(scope))
                && !revoked_tokens::is_revoked(db, *token)?
        }
    };
    if holds { Ok(()) } else { Err(ENDED) }
}

/// Fills with random bytes of the operating system's generator.
pub(crate) fn random(bytes: &mut [u8]) -> Result<(), ApiError> {
    aws_lc_rs::rand::fill(bytes).map_err(|e| ApiError::Internal(format!("random bytes: {e}")))
}

/// Client id of an app: shop and app, so that it is looked for in that shop only.
pub fn client_id(shop: Id, app: Id) -> String {
    format!("{shop}.{app}")
}

/// An access token of a partner app with these scopes.
pub fn sign_for_app(app: &App, shop: Id, id: Id, scope: String) -> Result<String, ApiError> {
    let now = app.clock.now();
    app.keys.sign(&Claims {
        iss: app.keys.issuer().to_owned(),
        aud: AUDIENCE.into(),
        sub: id,
        client_id: client_id(shop, id),
        shop,
        iat: now.unix(),
        nbf: now.unix(),
        exp: now.unix() + app.config.access_token_min * 60,
        jti: Id::new(now),
        sid: None,
        role: None,
        scope: Some(scope),
    })
}
