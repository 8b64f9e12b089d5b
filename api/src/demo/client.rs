//! A client of the API within the program: the demo does only what any client may do.

use crate::app::App;
use crate::serve::site;
use actix_http::Request;
use actix_web::body::{BoxBody, to_bytes};
use actix_web::dev::{Service, ServiceResponse};
use actix_web::http::{Method, StatusCode, header};
use actix_web::test::{TestRequest, init_service};
use serde_json::Value;
use std::rc::Rc;

/// Sends requests straight to the routes, with one login's token.
pub struct Client<S> {
    service: Rc<S>,
    token: String,
}

/// What came back when it was not a success.
#[derive(Debug, thiserror::Error)]
#[error("{method} {path}: {status} {problem}")]
pub struct Refusal {
    pub method: Method,
    pub path: String,
    pub status: StatusCode,
    pub problem: Value,
}

impl Refusal {
    /// The stable code of the problem.
    pub fn code(&self) -> &str {
        self.problem["code"].as_str().unwrap_or_default()
    }
}

/// The routes of an app, ready to be called.
pub async fn open(
    app: &App,
) -> impl Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error> + use<> {
    init_service(site(app)).await
}

impl<S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>> Client<S> {
    pub fn new(service: Rc<S>, token: String) -> Client<S> {
        Client { service, token }
    }

    pub fn with_token(&self, token: String) -> Client<S> {
        Client { service: self.service.clone(), token }
    }

    pub fn token(&self) -> &str {
        &self.token
    }

    pub async fn get(&self, path: &str) -> Result<Value, Refusal> {
        self.send(Method::GET, path, None, "application/json").await.map(|text| json(&text))
    }

    /// The answer as text of a media type.
    pub async fn text(&self, path: &str, media_type: &str) -> Result<String, Refusal> {
        self.send(Method::GET, path, None, media_type).await
    }

    pub async fn post(&self, path: &str, body: &Value) -> Result<Value, Refusal> {
        self.send(Method::POST, path, Some(body), "application/json").await.map(|text| json(&text))
    }

    pub async fn put(&self, path: &str, body: &Value) -> Result<Value, Refusal> {
        self.send(Method::PUT, path, Some(body), "application/json").await.map(|text| json(&text))
    }

    /// The same where nothing is yet.
    pub async fn put_first(&self, path: &str, body: &Value) -> Result<Value, Refusal> {
        let request = TestRequest::default().insert_header((header::IF_NONE_MATCH, "*"));
        self.call(request, Method::PUT, path, Some(body)).await.map(|text| json(&text))
    }

    pub async fn patch(&self, path: &str, body: &Value) -> Result<Value, Refusal> {
        self.send(Method::PATCH, path, Some(body), "application/json").await.map(|text| json(&text))
    }

    async fn send(
        &self,
        method: Method,
        path: &str,
        body: Option<&Value>,
        accept: &str,
    ) -> Result<String, Refusal> {
        let mut request = TestRequest::default().insert_header((header::ACCEPT, accept));
        if method != Method::GET {
            // Nobody else changes anything meanwhile.
            request = request.insert_header((header::IF_MATCH, "*"));
        }
        self.call(request, method, path, body).await
    }

    async fn call(
        &self,
        request: TestRequest,
        method: Method,
        path: &str,
        body: Option<&Value>,
    ) -> Result<String, Refusal> {
        let mut request = request.method(method.clone()).uri(path);
        if !self.token.is_empty() {
            request = request.insert_header((header::AUTHORIZATION, format!("Bearer {}", self.token)));
        }
        if let Some(body) = body {
            request = request.set_json(body);
        }
        if method == Method::PATCH {
            request = request.insert_header((header::CONTENT_TYPE, "application/merge-patch+json"));
        }
        let refusal = |status, text: &str| Refusal {
            method: method.clone(),
            path: path.into(),
            status,
            problem: json(text),
        };
        let (status, text) = match self.service.call(request.to_request()).await {
            Ok(response) => {
                let status = response.status();
                let bytes = to_bytes(response.into_body()).await.unwrap_or_default();
                (status, String::from_utf8_lossy(&bytes).into_owned())
            }
            Err(error) => (error.as_response_error().status_code(), error.to_string()),
        };
        if status.is_success() { Ok(text) } else { Err(refusal(status, &text)) }
    }
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|_| Value::String(text.to_owned()))
}
