// How a client of each server asks. Its own client sends the same requests; what it keeps and how is left out for all.
import { spawnSync } from "node:child_process";
import { Agent, request } from "node:http";
import { brotliDecompressSync, gunzipSync, gzipSync } from "node:zlib";
import { uuidV7 } from "./documents.mjs";

/** Documents of a page, and of a push: as many as our server takes at once, for all. */
const [PAGE, BATCH] = [500, 200];
const PASSWORD = "kettle drum ash";
const UNPACK = { br: brotliDecompressSync, gzip: gunzipSync };

/** One connection that is kept, and counts. */
class Connection {
  constructor(port, token) {
    this.port = port;
    this.head = { accept: "application/json", "accept-encoding": "br, gzip" };
    if (token) this.head.authorization = `Bearer ${token}`;
    this.agent = new Agent({ keepAlive: true, maxSockets: 1 });
    this.sockets = new Set();
    this.counted = 0;
  }

  /** With a body that goes out packed where `coding` says so: for a server that takes it. */
  ask(method, path, body, coding) {
    const text = body === undefined ? undefined : Buffer.from(JSON.stringify(body));
    const sent = coding ? gzipSync(text) : text;
    const head = sent ? { ...this.head, "content-type": "application/json", "content-length": sent.length } : { ...this.head };
    if (coding) head["content-encoding"] = coding;
    return new Promise((resolve, reject) => {
      const asked = request({ host: "127.0.0.1", port: this.port, method, path, headers: head, agent: this.agent }, (answer) => {
        const parts = [];
        answer.on("data", (part) => parts.push(part));
        answer.on("error", reject);
        answer.on("end", () => {
          const unpack = UNPACK[answer.headers["content-encoding"]] ?? ((bytes) => bytes);
          const text = unpack(Buffer.concat(parts)).toString();
          if (answer.statusCode >= 300) reject(new Error(`${method} ${path}: ${answer.statusCode} ${text.slice(0, 400)}`));
          else resolve(text ? JSON.parse(text) : null);
        });
      });
      asked.on("socket", (socket) => this.sockets.add(socket));
      // A kept connection may have been given up by the server just as it was used again.
      const again = (error) => error.code === "ECONNRESET" && asked.reusedSocket;
      asked.on("error", (error) => again(error) ? this.ask(method, path, body, coding).then(resolve, reject) : reject(error));
      asked.end(sent);
    });
  }

  all() {
    return [...this.sockets].reduce((sum, socket) => sum + socket.bytesRead + socket.bytesWritten, 0);
  }

  /** Counts from now on. */
  forget() {
    this.counted = this.all();
  }

  bytes() {
    return this.all() - this.counted;
  }

  close() {
    this.agent.destroy();
  }
}

function* batches(documents, size) {
  for (let from = 0; from < documents.length; from += size) yield documents.slice(from, from + size);
}

/** Asks until there is an answer. */
async function answers(connection, path) {
  for (let tries = 0; ; tries++) {
    try {
      return await connection.ask("GET", path);
    } catch (error) {
      if (tries > 300) throw error;
      await new Promise((resolve) => setTimeout(resolve, 100));
    }
  }
}

class Server {
  /** Stores documents. */
  async fill(documents) {
    const phone = this.filler ?? (this.filler = this.phone());
    await phone.push(documents);
  }
}

/** The protocol of openapi/sync.md. */
export class Ours extends Server {
  name = "ours";

  static async begin(program, data, port, start) {
    const ours = new Ours();
    ours.port = port;
    const settings = { LUSTRUM_DATA: data, LUSTRUM_LISTEN: `127.0.0.1:${port}`, LUSTRUM_REQUESTS_PER_MIN: "0",
      LUSTRUM_PUBLIC_URL: `http://127.0.0.1:${port}`, LUSTRUM_OWNER_PASSWORD: PASSWORD, LUSTRUM_LOG: "off" };
    const shop = ["create-shop", "--name", "Shine", "--time-zone", "Europe/Vienna", "--owner-email", "owner@shop.test"];
    const made = spawnSync(program, shop, { env: { ...process.env, ...settings }, encoding: "utf8" });
    if (made.status !== 0) throw new Error(made.stderr);
    start(program, ["serve"], settings);
    await answers(new Connection(port), "/health");
    ours.shop = made.stdout.split(/\s+/)[1];
    await ours.stay();
    await ours.bookJobs(100);
    return ours;
  }

  /** A token lasts ten minutes. */
  async stay() {
    if (performance.now() - (this.cameAt ?? -Infinity) < 300_000) return;
    this.cameAt = performance.now();
    this.token = await this.logIn("owner@shop.test");
    if (this.filler) this.filler.connection.head.authorization = `Bearer ${this.token}`;
  }

  async fill(documents) {
    for (const some of batches(documents, 10_000)) {
      await this.stay();
      await super.fill(some);
    }
  }

  async logIn(email) {
    const connection = new Connection(this.port);
    const login = await connection.ask("POST", "/v1/login", { shop: this.shop, email, password: PASSWORD });
    connection.close();
    return login.access_token;
  }

  /** Somebody who goes to all jobs, too, and never had a phone. */
  async hire() {
    const office = new Connection(this.port, this.token);
    office.head["if-match"] = "*";
    const email = `${uuidV7()}@shop.test`;
    const { id } = await office.ask("POST", "/v1/people", { name: "Nimbo", email, role: "technician" });
    await office.ask("PUT", `/v1/people/${id}/password`, { password: PASSWORD });
    for (const job of this.jobs) {
      const crew = { van: null, start_at: null, technicians: [this.person, id] };
      await office.ask("PUT", `/v1/jobs/${job}/assignment`, crew);
    }
    office.close();
    this.firstToken = await this.logIn(email);
  }

  /** Jobs of the owner, an hour each. */
  async bookJobs(count) {
    const office = new Connection(this.port, this.token);
    this.person = (await office.ask("GET", "/v1/me")).id;
    const customer = (await office.ask("POST", "/v1/customers", { name: "Jaxxlo" })).id;
    const document = { class: "estate", colour: "grey", finish: "clear_coat", exposures: [] };
    const vehicle = (await office.ask("POST", "/v1/vehicles", { customer, label: "grey estate", document })).id;
    this.jobs = [];
    office.head["if-match"] = "*";
    for (let nth = 1; nth <= count; nth++) {
      const at = (hours) => new Date(Date.now() + hours * 3_600_000).toISOString();
      const job = await office.ask("POST", "/v1/jobs", { vehicle, package: "P2", window_from: at(nth), window_to: at(nth + 1) });
      await office.ask("PUT", `/v1/jobs/${job.id}/assignment`, { van: null, start_at: null, technicians: [this.person] });
      this.jobs.push(job.id);
    }
    office.close();
  }

  phone(whose = "token") {
    return new OurPhone(new Connection(this.port, this[whose]));
  }
}

class OurPhone {
  place = null;
  n = 0;

  constructor(connection) {
    this.connection = connection;
    this.device = uuidV7();
  }

  async register() {
    const registered = await this.connection.ask("PUT", `/v1/devices/${this.device}`, { row_schema: 1 });
    this.epoch = registered.epoch;
  }

  async pull() {
    if (!this.epoch) await this.register();
    for (let got = 0; ; ) {
      const after = this.place ? `&cursor=${this.place}` : "";
      const page = await this.connection.ask("GET", `/v1/sync/pull?device=${this.device}&limit=${PAGE}${after}`);
      got += page.changes.filter((change) => change.kind === "comment").length;
      this.place = page.cursor;
      if (!page.has_more) return got;
    }
  }

  async push(documents) {
    if (!this.epoch) await this.register();
    for (const some of batches(documents, BATCH)) {
      const now = new Date().toISOString();
      const mutations = some.map(({ id, job, text }) =>
        ({ n: ++this.n, id, type: "comment", v: 1, job, occurred_at: now, args: { text } }));
      const push = { device: this.device, epoch: this.epoch, sent_at: now, mutations };
      const { results } = await this.connection.ask("POST", "/v1/sync/push", push, "gzip");
      const wrong = results.find((result) => result.outcome !== "applied");
      if (wrong) throw new Error(JSON.stringify(wrong));
    }
  }

  async catchUp() {
    await this.pull();
    return this.place;
  }
}

/** The replication protocol of CouchDB (docs.couchdb.org), as PouchDB's client speaks it. */
export class Couch extends Server {
  name = "express-pouchdb 4.2.0, LevelDB";

  static async begin(port) {
    const couch = new Couch();
    couch.port = port;
    const connection = new Connection(port);
    await answers(connection, "/");
    await connection.ask("PUT", "/comments");
    connection.close();
    return couch;
  }

  phone() {
    return new CouchPhone(new Connection(this.port));
  }
}

class CouchPhone {
  place = 0;

  constructor(connection) {
    this.connection = connection;
    this.id = uuidV7();
  }

  /** Both sides note how far they are; the note is read before it is written. */
  async note() {
    const path = `/comments/_local/${this.id}`;
    const { _rev } = await this.connection.ask("GET", path).catch(() => ({}));
    await this.connection.ask("PUT", path, { _id: `_local/${this.id}`, _rev, last_seq: this.place, replicator: "pouchdb",
      session_id: this.id, history: [{ last_seq: this.place, session_id: this.id }], version: 1 });
  }

  async pull() {
    await this.connection.ask("GET", "/comments/");
    for (let got = 0; ; ) {
      const changes = `/comments/_changes?style=all_docs&since=${this.place}&limit=${PAGE}`;
      const { results, last_seq } = await this.connection.ask("GET", changes);
      if (results.length === 0) return got;
      const docs = results.flatMap(({ id, changes }) => changes.map(({ rev }) => ({ id, rev })));
      const bodies = await this.connection.ask("POST", "/comments/_bulk_get?revs=true&latest=true", { docs });
      got += bodies.results.length;
      this.place = last_seq;
      await this.note();
      if (results.length < PAGE) return got;
    }
  }

  async push(documents) {
    await this.connection.ask("GET", "/comments/");
    for (const some of batches(documents, BATCH)) {
      const docs = some.map(({ id, ...rest }) => {
        // What stands for the MD5 of the document in its first revision.
        const hash = id.replaceAll("-", "");
        return { ...rest, _id: id, _rev: `1-${hash}`, _revisions: { start: 1, ids: [hash] } };
      });
      const missing = Object.fromEntries(docs.map(({ _id, _rev }) => [_id, [_rev]]));
      await this.connection.ask("POST", "/comments/_revs_diff", missing);
      const wrong = await this.connection.ask("POST", "/comments/_bulk_docs", { docs, new_edits: false });
      if (wrong.some((one) => one.error)) throw new Error(JSON.stringify(wrong).slice(0, 400));
      await this.note();
    }
  }

  async catchUp() {
    const { update_seq } = await this.connection.ask("GET", "/comments/");
    return update_seq;
  }
}

/** The replication endpoint of rxdb-server, as its replication plugin asks it. */
export class Rx extends Server {
  name = "rxdb-server 15.22.0, memory";

  static async begin(port) {
    const rx = new Rx();
    rx.port = port;
    const connection = new Connection(port);
    await answers(connection, "/comments/0/pull?lwt=0&id=&limit=1");
    connection.close();
    return rx;
  }

  phone() {
    return new RxPhone(new Connection(this.port));
  }
}

class RxPhone {
  place = { lwt: 0, id: "" };

  constructor(connection) {
    this.connection = connection;
  }

  async pull() {
    for (let got = 0; ; ) {
      const { lwt, id } = this.place;
      const page = await this.connection.ask("GET", `/comments/0/pull?lwt=${lwt}&id=${id}&limit=${PAGE}`);
      got += page.documents.length;
      this.place = page.checkpoint;
      if (page.documents.length < PAGE) return got;
    }
  }

  async push(documents) {
    for (const some of batches(documents, BATCH)) {
      const rows = some.map((document) => ({ newDocumentState: { ...document, _deleted: false } }));
      const conflicts = await this.connection.ask("POST", "/comments/0/push", rows);
      if (conflicts.length > 0) throw new Error(JSON.stringify(conflicts).slice(0, 400));
    }
  }

  async catchUp() {
    await this.pull();
    return this.place;
  }
}
