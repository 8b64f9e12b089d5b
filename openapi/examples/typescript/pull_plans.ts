// Pulls the plans of the jobs that came of this app's bookings, and asks again only for what has changed.
//
//   npm install openapi-fetch@0.17.0 && npm install --save-dev openapi-typescript@7.13.0 typescript@5.9.3
//   npx openapi-typescript openapi.json --output api.ts && npx tsc
//   LUSTRUM_URL=… CLIENT_ID=… CLIENT_SECRET=… node made/pull_plans.js
//
// The app needs the scopes `offers:write` (its bookings) and `plans:read`.
import createClient, { type Client } from "openapi-fetch";
import type { components, paths } from "./api.js";

/** It reads JSON, also where there is text or a page to be had. */
type Json = "application/json" | "application/problem+json";
type Api = Client<paths, Json>;
type Plan = components["schemas"]["Plan"];
/** A plan as it was last answered, with the tag that names it. */
type Held = { readonly plan: Plan; readonly tag: string };

async function logIn(url: string, id: string, secret: string): Promise<Api> {
  const api = createClient<paths>({ baseUrl: url });
  const { data, error } = await api.POST("/oauth/token", {
    headers: { "Content-Type": "application/x-www-form-urlencoded" },
    body: { grant_type: "client_credentials", client_id: id, client_secret: secret },
  });
  if (!data) throw new Error(`no token: ${JSON.stringify(error)}`);
  // It lasts `expires_in` seconds; then log in again.
  const headers = { Authorization: `Bearer ${data.access_token}` };
  return createClient<paths, Json>({ baseUrl: url, headers });
}

/** The jobs that the office made of this app's bookings, page by page. */
async function* bookedJobs(api: Api): AsyncGenerator<string> {
  let cursor: string | null | undefined;
  do {
    const query = cursor ? { cursor } : {};
    const { data, error } = await api.GET("/v1/bookings", { params: { query } });
    if (!data) throw new Error(`no bookings: ${error.title}`);
    for (const booking of data.items) if (booking.job) yield booking.job;
    cursor = data.next_cursor;
  } while (cursor);
}

/** The plan in force; what is held already if it is still that. */
async function pull(api: Api, job: string, held?: Held): Promise<Held> {
  const header = held ? { "If-None-Match": held.tag } : {};
  const { data, error, response } = await api.GET("/v1/jobs/{id}/plan", { params: { path: { id: job }, header } });
  if (response.status === 304 && held) return held;
  if (!data) throw new Error(`no plan of ${job}: ${error?.title}`);
  return { plan: data, tag: response.headers.get("etag") ?? "" };
}

function needed(name: string): string {
  const value = process.env[name];
  if (!value) throw new Error(`${name} is not set`);
  return value;
}

const api = await logIn(needed("LUSTRUM_URL"), needed("CLIENT_ID"), needed("CLIENT_SECRET"));
for await (const job of bookedJobs(api)) {
  const first = await pull(api, job);
  const { version, lines, totals } = first.plan;
  console.log(`${job} plan ${version}: ${lines.length} steps, ${Math.round(totals.elapsed_minutes)} min`);
  const again = await pull(api, job, first);
  console.log(`${job} ${again === first ? "unchanged" : "has another plan"}`);
}
