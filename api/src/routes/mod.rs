//! Every route on one screen. Who may use it is in `auth::access`.

pub mod acknowledgements;
pub mod arrivals;
pub mod audit;
pub mod bookings;
pub mod calendar_feeds;
pub mod comparisons;
pub mod customer_pages;
pub mod customers;
pub mod departures;
pub mod devices;
pub mod erasure;
pub mod fleet;
pub mod handbook;
pub mod health;
pub mod inbox;
pub mod inspections;
pub mod jobs;
pub mod login;
pub mod message_gateway;
pub mod message_templates;
pub mod my_logins;
pub mod near_misses;
pub mod norms;
pub mod oauth;
pub mod oauth_checks;
pub mod observations;
pub mod offers;
pub mod partner_apps;
pub mod people;
pub mod plans;
pub mod previews;
pub mod reminders;
pub mod replies;
pub mod round_plans;
pub mod rounds;
pub mod shop;
pub mod step_changes;
pub mod steps;
pub mod sync;
pub mod tasks;
pub mod throughput;
pub mod travel_matrix;
pub mod unsubscribe;
pub mod upkeep;
pub mod uploads;
pub mod vans;
pub mod vehicles;
pub mod waivers;
pub mod weather;
pub mod webhooks;

use crate::app::App;
use crate::db::is_taken;
use crate::error::ApiError;
use crate::page::{NextCursor, Page};
use crate::reply::Reply;
use crate::route::Routes;
use actix_web::HttpResponse;
use actix_web::web::Data;
use serde::Serialize;
use std::fmt::Display;
use utoipa_actix_web::service_config::ServiceConfig;

/// Adds every route to a server or to the document.
pub fn routes(all: &mut ServiceConfig<'_>) {
    table().serve(all);
}

/// Every route; the OpenAPI document is made from the same list. A test compares the comments with it.
#[rustfmt::skip]
#[expect(clippy::too_many_lines, reason = "a line per route, and all of them in one place")]
pub fn table() -> Routes {
    Routes::default()
        .service(health::get_health)                 // GET /health
        .service(health::get_openapi)                // GET /openapi.json
        .service(login::log_in)                      // POST /v1/login
        .service(login::refresh_login)               // POST /v1/token
        .service(login::log_out)                     // POST /v1/logout
        .service(oauth::create_app_token)            // POST /oauth/token
        .service(oauth_checks::revoke_token)         // POST /oauth/revoke
        .service(oauth_checks::introspect_token)     // POST /oauth/introspect
        .service(oauth_checks::get_oauth_metadata)   // GET /.well-known/oauth-authorization-server
        .service(oauth_checks::get_signing_keys)     // GET /.well-known/jwks.json
        .service(shop::get_shop)                     // GET /v1/shop
        .service(shop::update_shop)                  // PATCH /v1/shop
        .service(people::list_people)                // GET /v1/people
        .service(people::create_person)              // POST /v1/people
        .service(people::get_me)                     // GET /v1/me
        .service(people::create_person_under)        // PUT /v1/people/{id}
        .service(my_logins::list_my_logins)          // GET /v1/me/logins
        .service(my_logins::end_my_login)            // DELETE /v1/me/logins/{id}
        .service(my_logins::change_my_password)      // PUT /v1/me/password
        .service(people::get_person)                 // GET /v1/people/{id}
        .service(people::update_person)              // PATCH /v1/people/{id}
        .service(people::set_password)               // PUT /v1/people/{id}/password
        .service(people::disable_person)             // POST /v1/people/{id}/disable
        .service(people::enable_person)              // POST /v1/people/{id}/enable
        .service(partner_apps::list_partner_apps)    // GET /v1/partner-apps
        .service(partner_apps::create_partner_app)   // POST /v1/partner-apps
        .service(partner_apps::get_partner_app)      // GET /v1/partner-apps/{id}
        .service(partner_apps::update_partner_app)   // PATCH /v1/partner-apps/{id}
        .service(partner_apps::add_partner_secret)   // POST /v1/partner-apps/{id}/secret
        .service(partner_apps::retire_partner_secret)// POST /v1/partner-apps/{id}/secret/retire
        .service(partner_apps::disable_partner_app)  // POST /v1/partner-apps/{id}/disable
        .service(webhooks::list_webhooks)            // GET /v1/webhooks
        .service(webhooks::create_webhook)           // POST /v1/webhooks
        .service(webhooks::get_webhook)              // GET /v1/webhooks/{id}
        .service(webhooks::update_webhook)           // PATCH /v1/webhooks/{id}
        .service(webhooks::delete_webhook)           // DELETE /v1/webhooks/{id}
        .service(webhooks::enable_webhook)           // POST /v1/webhooks/{id}/enable
        .service(webhooks::change_webhook_secret)    // POST /v1/webhooks/{id}/secret
        .service(webhooks::test_webhook)             // POST /v1/webhooks/{id}/test
        .service(webhooks::list_deliveries)          // GET /v1/webhooks/{id}/deliveries
        .service(webhooks::get_delivery)             // GET /v1/webhooks/{id}/deliveries/{record}
        .service(webhooks::replay_delivery)          // POST /v1/webhooks/{id}/deliveries/{record}/replay
        .service(customers::list_customers)          // GET /v1/customers
        .service(customers::create_customer)         // POST /v1/customers
        .service(customers::create_customer_under)   // PUT /v1/customers/{id}
        .service(customers::get_customer)            // GET /v1/customers/{id}
        .service(customers::update_customer)         // PATCH /v1/customers/{id}
        .service(customers::list_consents)           // GET /v1/customers/{id}/consents
        .service(customers::create_consent)          // POST /v1/customers/{id}/consents
        .service(erasure::export_customer)           // GET /v1/customers/{id}/export
        .service(erasure::erase_customer)            // POST /v1/customers/{id}/erase
        .service(vehicles::list_customer_vehicles)   // GET /v1/customers/{id}/vehicles
        .service(vehicles::list_vehicles)            // GET /v1/vehicles
        .service(vehicles::create_vehicle)           // POST /v1/vehicles
        .service(vehicles::create_vehicle_under)     // PUT /v1/vehicles/{id}
        .service(vehicles::get_vehicle)              // GET /v1/vehicles/{id}
        .service(vehicles::update_vehicle)           // PATCH /v1/vehicles/{id}
        .service(vans::list_vans)                    // GET /v1/vans
        .service(vans::create_van)                   // POST /v1/vans
        .service(vans::create_van_under)             // PUT /v1/vans/{id}
        .service(vans::get_van)                      // GET /v1/vans/{id}
        .service(vans::update_van)                   // PATCH /v1/vans/{id}
        .service(vans::list_stock)                   // GET /v1/vans/{id}/stock
        .service(near_misses::list_van_checks)       // GET /v1/vans/{id}/checks
        .service(near_misses::create_van_check)      // POST /v1/vans/{id}/checks
        .service(near_misses::list_near_misses)      // GET /v1/near-misses
        .service(near_misses::create_near_miss)      // POST /v1/near-misses
        .service(jobs::list_jobs)                    // GET /v1/jobs
        .service(jobs::create_job)                   // POST /v1/jobs
        .service(jobs::create_job_under)             // PUT /v1/jobs/{id}
        .service(jobs::get_job)                      // GET /v1/jobs/{id}
        .service(jobs::update_job)                   // PATCH /v1/jobs/{id}
        .service(jobs::assign_job)                   // PUT /v1/jobs/{id}/assignment
        .service(jobs::cancel_job)                   // POST /v1/jobs/{id}/cancel
        .service(departures::set_out)                // POST /v1/jobs/{id}/on-the-way
        .service(bookings::list_bookings)            // GET /v1/bookings
        .service(bookings::propose_booking)          // POST /v1/bookings
        .service(bookings::get_booking)              // GET /v1/bookings/{id}
        .service(bookings::accept_booking)           // POST /v1/bookings/{id}/accept
        .service(bookings::decline_booking)          // POST /v1/bookings/{id}/decline
        .service(bookings::withdraw_booking)         // POST /v1/bookings/{id}/withdraw
        .service(calendar_feeds::list_calendar_feeds)// GET /v1/calendar-feeds
        .service(calendar_feeds::create_calendar_feed)// POST /v1/calendar-feeds
        .service(calendar_feeds::delete_calendar_feed)// DELETE /v1/calendar-feeds/{id}
        .service(calendar_feeds::get_calendar)       // GET /calendars/{token}
        .service(rounds::get_rounds)                 // GET /v1/rounds
        .service(round_plans::ask_rounds)            // POST /v1/round-plans
        .service(round_plans::list_round_plans)      // GET /v1/round-plans
        .service(round_plans::get_round_plan)        // GET /v1/round-plans/{id}
        .service(round_plans::follow_round_plan)     // GET /v1/round-plans/{id}/events
        .service(round_plans::cancel_round_plan)     // POST /v1/round-plans/{id}/cancel
        .service(round_plans::publish_rounds)        // POST /v1/round-plans/{id}/publish
        .service(offers::list_offers)                // POST /v1/offers
        .service(offers::hold_offer)                 // POST /v1/held-offers
        .service(offers::list_held_offers)           // GET /v1/held-offers
        .service(offers::get_held_offer)             // GET /v1/held-offers/{id}
        .service(offers::take_held_offer)            // POST /v1/held-offers/{id}/take
        .service(offers::release_held_offer)         // DELETE /v1/held-offers/{id}
        .service(travel_matrix::get_travel_matrix)   // GET /v1/travel-matrix
        .service(travel_matrix::set_travel_matrix)   // PUT /v1/travel-matrix
        .service(travel_matrix::delete_travel_matrix)// DELETE /v1/travel-matrix
        .service(throughput::sheet::get_throughput)   // GET /v1/throughput
        .service(throughput::measures::list_measures) // GET /v1/throughput/measures
        .service(throughput::own::get_own_throughput) // GET /v1/throughput/own
        .service(throughput::comparisons::compare_crews) // GET /v1/throughput/comparisons
        .service(throughput::trends::get_trends)      // GET /v1/throughput/trends
        .service(throughput::ahead::get_ahead)        // GET /v1/throughput/ahead
        .service(throughput::closed_weeks::list_closed_weeks) // GET /v1/throughput/weeks
        .service(throughput::closed_weeks::close_week) // POST /v1/throughput/weeks/{week}/close
        .service(norms::get_norms)                   // GET /v1/norms
        .service(norms::set_norm_veto)               // PUT /v1/norms/veto
        .service(reminders::list_reminders)          // GET /v1/reminders
        .service(unsubscribe::ask_unsubscribe)       // GET /u/{token}
        .service(unsubscribe::unsubscribe)           // POST /u/{token}
        .service(customer_pages::show_customer_page) // GET /c/{token}
        .service(customer_pages::act_on_customer_page)// POST /c/{token}
        .service(message_gateway::get_message_gateway)// GET /v1/message-gateway
        .service(message_gateway::set_message_gateway)// PUT /v1/message-gateway
        .service(message_gateway::change_gateway_secret)// POST /v1/message-gateway/secret
        .service(message_templates::list_message_kinds)// GET /v1/message-kinds
        .service(message_templates::preview_message) // POST /v1/message-previews
        .service(message_templates::list_message_templates)// GET /v1/message-templates
        .service(message_templates::create_message_template)// POST /v1/message-templates
        .service(message_templates::get_message_template)// GET /v1/message-templates/{id}
        .service(message_templates::update_message_template)// PATCH /v1/message-templates/{id}
        .service(message_templates::delete_message_template)// DELETE /v1/message-templates/{id}
        .service(replies::take_reply)                // POST /replies/{shop}
        .service(replies::list_replies)              // GET /v1/replies
        .service(replies::handle_reply)              // POST /v1/replies/{id}/handled
        .service(audit::list_audit)                  // GET /v1/audit
        .service(audit::get_audit_state)             // GET /v1/audit/state
        .service(tasks::list_tasks)                  // GET /v1/tasks
        .service(tasks::replay_task)                 // POST /v1/tasks/{id}/replay
        .service(inspections::list_inspections)      // GET /v1/jobs/{id}/inspections
        .service(inspections::create_inspection)     // POST /v1/jobs/{id}/inspections
        .service(waivers::list_waivers)              // GET /v1/jobs/{id}/waivers
        .service(waivers::create_waiver)             // POST /v1/jobs/{id}/waivers
        .service(plans::plan_job)                    // POST /v1/jobs/{id}/plan
        .service(plans::get_plan)                    // GET /v1/jobs/{id}/plan
        .service(plans::list_plans)                  // GET /v1/jobs/{id}/plans
        .service(acknowledgements::acknowledge)      // POST /v1/jobs/{id}/plan/acknowledgements
        .service(comparisons::compare_plan)          // POST /v1/jobs/{id}/plan/compare
        .service(plans::get_timeline)                // GET /v1/jobs/{id}/timeline
        .service(previews::get_quote)                // GET /v1/jobs/{id}/quote
        .service(previews::preview_plan)             // POST /v1/plans/preview
        .service(steps::list_steps)                  // GET /v1/jobs/{id}/steps
        .service(steps::list_step_states)            // GET /v1/jobs/{id}/step-states
        .service(steps::record_step)                 // POST /v1/jobs/{id}/steps
        .service(step_changes::list_step_changes)    // GET /v1/jobs/{id}/step-changes
        .service(step_changes::correct_step)         // POST /v1/jobs/{id}/steps/{record}/correction
        .service(step_changes::void_step)            // POST /v1/jobs/{id}/steps/{record}/void
        .service(arrivals::get_arrival)              // GET /v1/jobs/{id}/arrival
        .service(arrivals::set_arrival)              // PUT /v1/jobs/{id}/arrival
        .service(arrivals::list_extra_work)          // GET /v1/jobs/{id}/extra-work
        .service(arrivals::create_extra_work)        // POST /v1/jobs/{id}/extra-work
        .service(steps::finish_job)                  // POST /v1/jobs/{id}/finish
        .service(sync::pull::pull)                   // GET /v1/sync/pull
        .service(sync::push::push)                   // POST /v1/sync/push
        .service(sync::events::listen)               // GET /v1/sync/events
        .service(devices::list_devices)              // GET /v1/devices
        .service(devices::get_device)                // GET /v1/devices/{id}
        .service(devices::register_device)           // PUT /v1/devices/{id}
        .service(devices::revoke_device)             // POST /v1/devices/{id}/revoke
        .service(inbox::list_inbox)                  // GET /v1/inbox
        .service(inbox::get_inbox_entry)             // GET /v1/inbox/{id}
        .service(inbox::accept_inbox_entry)          // POST /v1/inbox/{id}/accept
        .service(inbox::discard_inbox_entry)         // POST /v1/inbox/{id}/discard
        .service(uploads::get_upload_options)        // OPTIONS /v1/uploads
        .service(uploads::create_upload)             // POST /v1/uploads
        .service(uploads::get_upload)                // GET /v1/uploads/{id}
        .service(uploads::get_upload_offset)         // HEAD /v1/uploads/{id}
        .service(uploads::continue_upload)           // PATCH /v1/uploads/{id}
        .service(uploads::delete_upload)             // DELETE /v1/uploads/{id}
        .service(upkeep::get_upkeep)                 // GET /v1/vehicles/{id}/upkeep
        .service(upkeep::draw_upkeep)                // GET /v1/vehicles/{id}/upkeep.svg
        .service(upkeep::forecast_vehicle)           // POST /v1/vehicles/{id}/upkeep
        .service(upkeep::get_moved_visit)            // GET /v1/vehicles/{id}/upkeep/move
        .service(upkeep::list_forecast_checks)       // GET /v1/vehicles/{id}/upkeep/checks
        .service(observations::list_observations)    // GET /v1/vehicles/{id}/observations
        .service(observations::create_observation)   // POST /v1/vehicles/{id}/observations
        .service(observations::withdraw_observation) // DELETE /v1/observations/{id}
        .service(fleet::list_upkeep)                 // GET /v1/upkeep
        .service(fleet::export_upkeep)               // GET /v1/upkeep.csv
        .service(fleet::get_calibration)             // GET /v1/upkeep/calibration
        .service(upkeep::get_forecasts)              // GET /v1/upkeep/forecasts
        .service(upkeep::forecast_all)               // POST /v1/upkeep/forecasts
        .service(weather::get_weather)               // GET /v1/weather/{date}
        .service(weather::set_weather)               // PUT /v1/weather/{date}
        .service(handbook::get_handbook)             // GET /v1/handbook
        .service(handbook::get_overrides)            // GET /v1/handbook/overrides
        .service(handbook::set_overrides)            // PUT /v1/handbook/overrides
}

pub type Answer = Result<HttpResponse, ApiError>;
pub type Shared = Data<App>;

/// 200 with the entity and its revision as the ETag.
pub fn ok(entity: &impl Serialize, rev: impl Display) -> Answer {
    Ok(Reply::ok(entity, rev)?.into())
}

/// 201 with the entity, its revision and its address.
pub fn created(entity: &impl Serialize, rev: impl Display, location: String) -> Answer {
    Ok(Reply::created(entity, rev, location)?.into())
}

/// 200 with a page; the next one is named in its `Link` header.
pub fn listed<T: Serialize>(page: &Page<T>) -> Answer {
    let mut response = HttpResponse::Ok().json(page);
    if let Some(cursor) = &page.next_cursor {
        response.extensions_mut().insert(NextCursor(cursor.clone()));
    }
    Ok(response)
}

/// Somebody else made something under the id that a client chose, just now.
pub fn id_taken(error: diesel::result::Error) -> ApiError {
    if is_taken(&error) { ApiError::Exists } else { error.into() }
}

/// Refuses an id that a client chose for something new and that is in use.
pub fn free<T>(found: Option<T>) -> Result<(), ApiError> {
    found.map_or(Ok(()), |_| Err(ApiError::Exists))
}

/// The row that a guarded update did not find: somebody else was faster.
pub fn unless_stale(stored: bool) -> Result<(), ApiError> {
    if stored { Ok(()) } else { Err(ApiError::Stale) }
}
