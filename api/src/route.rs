//! Which route a request is for.
//!
//! The framework tries one route after the other, and most of them are regular expressions. Here an address is followed
//! segment by segment through a tree of all routes; the framework then tries only those that begin like the one found.

use crate::auth::access::{OPEN, Row, TABLE};
use actix_web::dev::{AppService, HttpServiceFactory};
use actix_web::guard::{GuardContext, fn_guard};
use actix_web::http::Method;
use actix_web::{HttpMessage, Scope};
use std::collections::BTreeMap;
use std::sync::LazyLock;
use utoipa::openapi::path::Paths;
use utoipa::openapi::{RefOr, Schema};
use utoipa_actix_web::OpenApiFactory;
use utoipa_actix_web::service_config::ServiceConfig;

/// A method at an address.
#[derive(Debug)]
pub struct Route {
    pub method: &'static str,
    /// The address, with names for what differs from request to request: `/v1/jobs/{id}`.
    pub path: &'static str,
    /// Who may use it; none: it asks for no token.
    pub row: Option<&'static Row>,
}

impl Route {
    /// What a request was found to be for.
    pub fn of(request: &impl HttpMessage) -> Option<&'static Route> {
        request.extensions().get::<&'static Route>().copied()
    }

    /// The route of a method and an address, if there is one.
    pub fn find(method: &Method, path: &str) -> Option<&'static Route> {
        Route::at(path).iter().find(|route| route.method == method.as_str())
    }

    /// All routes of an address.
    pub fn at(path: &str) -> &'static [Route] {
        let mut place = &*ROUTES;
        for segment in path.split('/') {
            let any = place.any.as_deref().filter(|_| !segment.is_empty());
            let Some(next) = place.named.get(segment).or(any) else { return &[] };
            place = next;
        }
        &place.routes
    }
}

/// What is at an address, and where its next segments lead.
#[derive(Default)]
struct Place {
    named: BTreeMap<&'static str, Place>,
    /// Where a segment leads that has no name: an id, a day, a token.
    any: Option<Box<Place>>,
    routes: Vec<Route>,
}

static ROUTES: LazyLock<Place> = LazyLock::new(|| {
    let mut all = Place::default();
    let closed = TABLE.iter().map(|row| Route { method: row.0, path: row.1, row: Some(row) });
    let open = OPEN.iter().map(|(method, path)| Route { method, path, row: None });
    closed.chain(open).for_each(|route| all.add(route));
    all
});

impl Place {
    fn add(&mut self, route: Route) {
        let place = route.path.split('/').fold(self, |place, segment| match segment.starts_with('{') {
            true => place.any.get_or_insert_default(),
            false => place.named.entry(segment).or_default(),
        });
        place.routes.push(route);
    }
}

/// Routes by how their addresses begin. Those of one beginning stand together behind one guard, so that a request for
/// something else passes them all at once.
#[derive(Default)]
pub struct Routes {
    by_start: BTreeMap<String, Scope>,
    told: Told,
}

impl Routes {
    /// Adds a route.
    pub fn service(mut self, route: impl HttpServiceFactory + OpenApiFactory + 'static) -> Routes {
        let paths = route.paths();
        let first = paths.paths.keys().next().map_or("", |path| start(path)).to_owned();
        self.told.paths.merge(paths);
        route.schemas(&mut self.told.schemas);
        let begun = self.by_start.remove(&first).unwrap_or_else(|| beginning_with(first.clone()));
        self.by_start.insert(first, begun.service(route));
        self
    }

    /// What they send and answer, by name.
    pub fn schemas(&self) -> &[(String, RefOr<Schema>)] {
        &self.told.schemas
    }

    /// Gives them all to a server or a document.
    pub fn serve(self, all: &mut ServiceConfig<'_>) {
        all.service(self.told)
            .map(|server| self.by_start.into_values().fold(server, |server, begun| server.service(begun)));
    }
}

/// What the document says of the routes.
#[derive(Default)]
struct Told {
    paths: Paths,
    schemas: Vec<(String, RefOr<Schema>)>,
}

impl HttpServiceFactory for Told {
    /// It answers nothing.
    fn register(self, _: &mut AppService) {}
}

impl OpenApiFactory for Told {
    fn paths(&self) -> Paths {
        self.paths.clone()
    }

    fn schemas(&self, all: &mut Vec<(String, RefOr<Schema>)>) {
        all.extend_from_slice(&self.schemas);
    }
}

/// No routes yet, and only what was found to begin like this comes to them.
fn beginning_with(first: String) -> Scope {
    let is_here = move |context: &GuardContext<'_>| {
        let found = context.req_data().get::<&'static Route>().copied();
        found.is_some_and(|route| start(route.path) == first)
    };
    Scope::new("").guard(fn_guard(is_here))
}

/// The first two segments of an address: `/v1/jobs` of `/v1/jobs/{id}`.
fn start(path: &str) -> &str {
    let end = path.match_indices('/').nth(2).map_or(path.len(), |(at, _)| at);
    path.get(..end).unwrap_or(path)
}

#[cfg(test)]
mod tests {
    use super::Route;
    use crate::auth::access::{OPEN, TABLE};
    use actix_web::http::Method;

    #[test]
    fn every_route_is_found_by_its_address_and_no_other() {
        let rows = TABLE.iter().map(|row| (row.0, row.1)).chain(OPEN.iter().copied());
        for (method, path) in rows {
            let filled: Vec<&str> =
                path.split('/').map(|s| if s.starts_with('{') { "x.y" } else { s }).collect();
            let found = Route::find(&method.parse().expect("a method"), &filled.join("/")).expect(path);
            assert_eq!((found.method, found.path), (method, path));
        }
        let of_job = |path: &str| Route::find(&Method::GET, path).map(|route| route.path);
        assert_eq!(of_job("/v1/jobs/1"), Some("/v1/jobs/{id}"));
        for path in
            ["", "/", "v1/jobs", "/v1/jobs/", "/v1//jobs", "/v1/jobs/1/", "/v1/jobs/1/none", "/v2/jobs"]
        {
            assert_eq!(of_job(path), None, "{path}");
        }
    }
}
