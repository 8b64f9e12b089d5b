//! The HTTP server.

use crate::app::App;
use crate::body::BodyLimit;
use crate::conventions::conventions;
use crate::edge::edge;
use crate::error::ApiError;
use crate::route::Route;
use crate::routes;
use crate::tasks::worker;
use actix_web::body::BoxBody;
use actix_web::dev::{Server, ServiceFactory, ServiceRequest, ServiceResponse};
use actix_web::http::header;
use actix_web::middleware::from_fn;
use actix_web::web::{Data, ServiceConfig};
use actix_web::{Error, HttpRequest, HttpResponse, HttpServer, web};
use std::net::TcpListener;
use std::time::Duration;
use tokio::sync::watch;
use utoipa_actix_web::AppExt;
use utoipa_swagger_ui::{Config as DocsConfig, SwaggerUi};

/// Seconds that running requests get to end when the server is stopped.
const GRACE_S: u64 = 10;

/// Who stops the server.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stop {
    /// Ctrl-C and SIGTERM.
    BySignal,
    /// Whoever holds its handle.
    ByHandle,
}

/// Starts to serve on a listener.
pub fn serve(app: &App, listener: TcpListener, stop: Stop) -> std::io::Result<Server> {
    let shared = app.clone();
    // An answer that goes out in pieces, as packed ones do, must not wait for the receipt of its first piece (40 ms each).
    let mut server = HttpServer::new(move || site(&shared)).tcp_nodelay(true).shutdown_timeout(GRACE_S);
    if let Some(workers) = app.config.workers {
        server = server.workers(usize::from(workers));
    }
    if stop == Stop::ByHandle {
        server = server.disable_signals();
    }
    Ok(server.listen(listener)?.run())
}

/// Everything that answers requests, for the server and for callers within the program.
pub fn site(
    app: &App,
) -> actix_web::App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = ServiceResponse<BoxBody>,
        Error = Error,
        InitError = (),
    > + use<>,
> {
    let (bytes, arrives_within) =
        (app.config.body_limit_bytes, Duration::from_secs(app.config.body_timeout_s));
    actix_web::App::new()
        .into_utoipa_app()
        .app_data(Data::new(app.clone()))
        .app_data(Data::new(BodyLimit { bytes, arrives_within }))
        .map(|app| app.wrap(from_fn(conventions)).wrap(from_fn(edge)))
        .configure(routes::routes)
        .map(|app| app.configure(documentation))
        .default_service(web::to(elsewhere))
        .into_app()
}

/// Serves on a listener and does the background work until a signal comes; then both end what they have begun.
pub async fn serve_and_work(app: &App, listener: TcpListener) -> std::io::Result<()> {
    let (stop, stopped) = watch::channel(false);
    let worker = tokio::spawn(worker::run(app.clone(), stopped));
    let served = serve(app, listener, Stop::BySignal)?.await;
    stop.send_replace(true);
    if let Err(error) = worker.await {
        tracing::error!(%error, "the worker ended badly");
    }
    tracing::info!("stopped");
    served
}

/// The documentation page; all of it is in the program, so that it works without a network.
fn documentation(config: &mut ServiceConfig) {
    config.route("/docs", web::get().to(to_docs)).service(
        SwaggerUi::new("/docs/{_:.*}")
            .config(DocsConfig::from("/openapi.json").try_it_out_enabled(true).validator_url("none")),
    );
}

async fn to_docs() -> HttpResponse {
    HttpResponse::PermanentRedirect().insert_header((header::LOCATION, "/docs/")).finish()
}

/// No route: either nothing is there, or it has other methods.
async fn elsewhere(request: HttpRequest) -> Result<HttpResponse, ApiError> {
    let mut methods: Vec<&str> =
        Route::at(request.match_info().as_str()).iter().map(|route| route.method).collect();
    methods.sort_unstable();
    if methods.is_empty() { Err(ApiError::UnknownRoute) } else { Err(ApiError::MethodNotAllowed(methods)) }
}
