//! Answers to reads by key, given again as long as nothing has changed.
//!
//! The database tells whether anybody, of this process or another, has changed anything since ([`App::version`]): embedded
//! within a microsecond, PostgreSQL over one round trip where the read itself takes several. An answer belongs to the
//! caller that it was given to, with the login or token and the role that it was given under: whether these still hold
//! stands in the database, too.

use crate::app::App;
use crate::auth::{Caller, Role, Who};
use crate::db::Version;
use crate::db::kinds::Id;
use crate::error::ApiError;
use crate::route::Route;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::ServiceResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::HeaderMap;
use actix_web::web::Bytes;
use actix_web::{HttpResponse, HttpResponseBuilder};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What these answer comes from the database alone, and does not depend on the time.
const READS: [&str; 6] = [
    "/v1/customers/{id}",
    "/v1/jobs/{id}",
    "/v1/people/{id}",
    "/v1/shop",
    "/v1/vans/{id}",
    "/v1/vehicles/{id}",
];
/// Answers that are kept at most; when there are more, all are forgotten (assumption: those of a day's work).
const MOST: usize = 2_000;
/// Longer ones are not kept, bytes (assumption: few are longer than a tenth of it).
const LONGEST: usize = 16_384;

/// The answers of now.
#[derive(Clone, Default)]
pub struct KeptAnswers(Arc<Mutex<Answers>>);

#[derive(Default)]
struct Answers {
    /// Of the database, when they were asked for.
    version: Option<Version>,
    by_question: HashMap<Question, Given>,
}

/// Who asks for what.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Question {
    shop: Id,
    principal: Id,
    /// The login, or the token of an app.
    under: Id,
    role: Option<Role>,
    path: String,
}

struct Given {
    headers: HeaderMap,
    body: Bytes,
}

/// A question that no kept answer fits.
pub struct Unanswered {
    kept: KeptAnswers,
    version: Version,
    question: Question,
}

/// What is known of a read.
pub enum Known {
    Answer(HttpResponse),
    /// Keep what the handler answers.
    Nothing(Unanswered),
    /// It is none of those that are kept.
    Other,
}

impl KeptAnswers {
    pub async fn find(app: &App, route: &Route, caller: &Caller, path: &str) -> Result<Known, ApiError> {
        if route.method != "GET" || !READS.contains(&route.path) {
            return Ok(Known::Other);
        }
        let (principal, under, role) = match &caller.who {
            Who::Person { id, role, login } => (*id, *login, Some(*role)),
            Who::App { id, token, .. } => (*id, *token, None),
            Who::House => return Ok(Known::Other),
        };
        let question = Question { shop: caller.shop, principal, under, role, path: path.to_owned() };
        // Before the handler reads: what is changed meanwhile makes it another version.
        let version = app.version().await?;
        let kept = app.kept_answers.clone();
        let given = kept.of_version(&version).by_question.get(&question).map(Given::again);
        Ok(given.map_or(Known::Nothing(Unanswered { kept, version, question }), Known::Answer))
    }

    /// The answers of this version; those of another one are forgotten, so that nothing that was erased stays.
    fn of_version(&self, version: &Version) -> MutexGuard<'_, Answers> {
        let mut answers = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if answers.version.as_ref() != Some(version) {
            *answers = Answers { version: Some(version.clone()), by_question: HashMap::new() };
        }
        answers
    }
}

impl Given {
    fn again(&self) -> HttpResponse {
        let mut response = HttpResponseBuilder::new(StatusCode::OK);
        for header in &self.headers {
            response.append_header(header);
        }
        response.body(self.body.clone())
    }
}

impl Unanswered {
    /// Keeps what was answered, if it is short and went well.
    pub fn keep(self, response: ServiceResponse<BoxBody>) -> ServiceResponse<BoxBody> {
        if response.status() != StatusCode::OK {
            return response;
        }
        let (request, response) = response.into_parts();
        let (response, body) = response.into_parts();
        let body = match body.try_into_bytes() {
            Ok(body) => body,
            Err(streamed) => return ServiceResponse::new(request, response.set_body(streamed)),
        };
        let mut answers = self.kept.0.lock().unwrap_or_else(PoisonError::into_inner);
        // What came late, of an older version, must not take the place of what holds now.
        if body.len() <= LONGEST && answers.version.as_ref() == Some(&self.version) {
            if answers.by_question.len() >= MOST {
                answers.by_question.clear();
            }
            let given = Given { headers: response.headers().clone(), body: body.clone() };
            answers.by_question.insert(self.question, given);
        }
        ServiceResponse::new(request, response.set_body(BoxBody::new(body)))
    }
}
