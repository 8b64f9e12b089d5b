// A phone that works out of reach of the server: what an app has to keep, to send and to do with each answer.
//
// No dependencies; `fetch` and `crypto` are those of every browser, of React Native with its usual polyfills and of Node 20 and
// later. It may be copied and changed. `Store` is all that it needs of a platform: keep one document safely.
// `openapi/sync.md` explains it on one page.

export type Row = { rev: string; data: unknown };
export type Command = {
  n: number; id: string; type: string; v: number; job: string; occurred_at: string;
  base_rev?: number; depends_on?: string[]; args: Record<string, unknown>;
};
type Rows = Record<string, Row>; // by `kind|id`
type Staged = { rows: Rows; cursor: string | null };

/** What survives a restart. */
export type Kept = {
  device: string;
  epoch: string | null;
  registered: boolean;
  cursor: string | null;
  rows: Rows;
  staged: Staged | null;
  outbox: Command[];
  journal: { command: Command; acknowledged_at: number }[];
  next_n: number;
  acknowledged_n: number;
};

/** Keeps one document: all of it or nothing, also when the phone dies meanwhile. */
export interface Store {
  load(): Promise<Kept | null>;
  save(kept: Kept): Promise<void>;
}

/** What became of a command, for the person who gave it. */
export type Result = {
  n: number; id: string; outcome: "applied" | "merged" | "parked" | "rejected";
  repeated: boolean; flagged: boolean; reason?: { code: string; detail: string };
};

export type State = "quiet" | "offline" | "log in" | "wiped" | "barred" | "outdated";

/** The shape of the rows that this app understands. */
const ROW_SCHEMA = 1;

/** Commands of one push, at most; the server takes 200, and a megabyte unless it was set otherwise. */
const MOST = 200;
/** So long an acknowledged command is kept, in case the server is restored from a backup. */
const JOURNAL_MS = 30 * 24 * 3600 * 1000;

export class Phone {
  /** Tells what became of commands; set it before `sync`. */
  onResult: (result: Result) => void = () => {};
  private running: Promise<State> | null = null;
  /** Until a server, or something before it, refuses what is packed. */
  private packs = true;
  /** The copy was not what its checkpoint says: the server is told when everything is fetched anew. */
  private differed = false;
  /** Somebody asked for a round while one was under way. */
  private again = false;
  /** Commands of the next push, at most: fewer while they are too large together. */
  private most = MOST;

  private constructor(
    private readonly url: string, private readonly token: () => Promise<string>, private readonly store: Store,
    public kept: Kept,
  ) {}

  /** Opens what was kept, or begins anew. `token` gives an access token that holds. */
  static async open(url: string, token: () => Promise<string>, store: Store): Promise<Phone> {
    const kept = (await store.load()) ?? {
      device: uuidV7(), epoch: null, registered: false, cursor: null, rows: {}, staged: null,
      outbox: [], journal: [], next_n: 1, acknowledged_n: 0,
    };
    return new Phone(url, token, store, kept);
  }

  /** Everything of a kind that the phone holds. */
  all(kind: string): unknown[] {
    return Object.entries(this.kept.rows).filter(([key]) => key.startsWith(kind + "|")).map(([, row]) => row.data);
  }

  /** Notes what its person did; it is safe once this resolves. Gives the id, which what it makes will have. */
  async act(type: string, job: string, args: Record<string, unknown>, seen: { base_rev?: number; depends_on?: string[] } = {}): Promise<string> {
    const id = uuidV7();
    const occurred_at = new Date().toISOString();
    this.kept.outbox.push({ n: this.kept.next_n, id, type, v: 1, job, occurred_at, args, ...seen });
    this.kept.next_n += 1;
    await this.store.save(this.kept);
    return id;
  }

  /** Sends what waits and fetches what is new. Call it on every poke, when the network is back, and now and then. */
  sync(): Promise<State> {
    // One at a time: a second call waits for the first, which then looks once more.
    if (this.running) this.again = true;
    this.running ??= this.run();
    return this.running;
  }

  private async run(): Promise<State> {
    try {
      for (;;) {
        const pulls = this.kept.registered && this.kept.outbox.length === 0;
        if (pulls) this.again = false;
        const state = await (pulls ? this.pull() : this.kept.registered ? this.push() : this.register());
        await this.store.save(this.kept);
        // What was done, and what the server told of, during the last pull is not put off.
        const more = state === "quiet" && (this.again || this.kept.outbox.length > 0);
        if (state !== "go on" && !more) return state;
      }
    } finally {
      this.running = null;
    }
  }

  private async register(): Promise<State | "go on"> {
    const { device, epoch, acknowledged_n } = this.kept;
    const answer = await this.ask("PUT", `/v1/devices/${device}`, { row_schema: ROW_SCHEMA, epoch, acknowledged_n });
    if (answer.status === 409) return this.beginLife();
    if (failed(answer)) return this.trouble(answer);
    if (epoch === null) {
      this.kept.epoch = answer.body.epoch;
      this.kept.acknowledged_n = answer.body.last_n;
      this.numberFrom(answer.body.last_n);
    } else if (epoch !== answer.body.epoch) {
      this.beginEpoch(answer.body.epoch, answer.body.last_n);
    }
    this.kept.registered = true;
    return "go on";
  }

  private async push(): Promise<State | "go on"> {
    const { device, epoch, acknowledged_n, outbox } = this.kept;
    const mutations = outbox.slice(0, this.most);
    const sent_at = new Date().toISOString();
    const answer = await this.ask("POST", "/v1/sync/push", { device, epoch, sent_at, acknowledged_n, mutations });
    if (answer.status === 409 && answer.body.code === "device_forked") return this.beginLife();
    if (answer.status === 409 && ["stale_epoch", "gap"].includes(answer.body.code)) return this.askAgain();
    if (answer.status === 413 && mutations.length > 1) {
      this.most = Math.ceil(mutations.length / 2);
      return "go on";
    }
    if (failed(answer)) return this.trouble(answer);
    const results: Result[] = answer.body.results;
    const taken = new Set(results.map((result) => result.id));
    const now = Date.now();
    const done = this.kept.outbox.filter((command) => taken.has(command.id));
    this.kept.outbox = this.kept.outbox.filter((command) => !taken.has(command.id));
    if (this.kept.outbox.length === 0) this.most = MOST;
    this.kept.journal = this.kept.journal.filter((old) => now - old.acknowledged_at < JOURNAL_MS);
    this.kept.journal.push(...done.map((command) => ({ command, acknowledged_at: now })));
    this.kept.acknowledged_n = Math.max(this.kept.acknowledged_n, answer.body.last_n);
    results.forEach((result) => this.onResult(result));
    return "go on";
  }

  private async pull(): Promise<State | "go on"> {
    const cursor = this.kept.staged ? this.kept.staged.cursor : this.kept.cursor;
    const after = cursor ? `&cursor=${cursor}` : this.differed ? "&differed=true" : "";
    const answer = await this.ask("GET", `/v1/sync/pull?device=${this.kept.device}${after}`);
    if (answer.status === 400 && cursor) {
      // The server cannot read its own cursor any more (another key): begin anew.
      this.kept.cursor = null;
      this.kept.staged = null;
      return "go on";
    }
    if (failed(answer)) return this.trouble(answer);
    this.differed = false;
    const page = answer.body;
    // A server that knows fewer commands than it acknowledged was restored, maybe without saying so.
    if (page.epoch !== this.kept.epoch || page.last_n < this.kept.acknowledged_n) return this.askAgain();
    if (page.wipe) {
      this.kept.rows = {};
      this.kept.cursor = null;
      this.kept.staged = null;
      return "wiped";
    }
    // Pages are put in use together, when the last one is here.
    const rows: Rows = page.reset ? {} : this.kept.staged ? this.kept.staged.rows : { ...this.kept.rows };
    for (const change of page.changes) {
      const key = `${change.kind}|${change.id}`;
      if (change.op === "put") rows[key] = { rev: change.rev, data: change.data };
      else delete rows[key];
    }
    if (page.has_more) {
      this.kept.staged = { rows, cursor: page.cursor };
      return "go on";
    }
    this.kept.rows = rows;
    this.kept.cursor = page.cursor;
    this.kept.staged = null;
    if (Object.keys(rows).length !== page.checkpoint.count || (await digest(rows)) !== page.checkpoint.digest) {
      // Something went wrong, here or there: fetch everything. What was not sent yet stays.
      this.kept.cursor = null;
      this.differed = true;
      return "offline";
    }
    return "quiet";
  }

  /** The server does not know the phone, or is on another timeline: register, which says how things stand. */
  private askAgain(): "go on" {
    this.kept.registered = false;
    return "go on";
  }

  /** The server was restored: what it acknowledged lately it may not have, so it is sent again before anything else. */
  private beginEpoch(epoch: string, last_n: number): void {
    this.kept.outbox = [...this.kept.journal.map((old) => old.command), ...this.kept.outbox];
    this.kept.journal = [];
    this.kept.epoch = epoch;
    this.kept.staged = null;
    this.kept.acknowledged_n = last_n;
    this.numberFrom(last_n);
  }

  /** Another phone has the same name, as after a restored backup of the phone: take a new one and count anew. */
  private beginLife(): "go on" {
    this.kept.device = uuidV7();
    this.kept.acknowledged_n = 0;
    this.numberFrom(0);
    return this.askAgain();
  }

  private numberFrom(last_n: number): void {
    this.kept.outbox.forEach((command, i) => { command.n = last_n + 1 + i; });
    this.kept.next_n = last_n + 1 + this.kept.outbox.length;
  }

  private trouble(answer: Answer): State | "go on" {
    if (answer.status === 401) return "log in";
    if (answer.status === 403) return "barred";
    if (answer.status === 426) {
      // Everything was sent before; it is told nothing new until app and server fit, and then it registers again.
      this.kept.registered = false;
      return "outdated";
    }
    if (answer.status === 422 && answer.body.errors?.[0]?.pointer === "/device") return this.askAgain();
    // 408, 409 (the office must mend something), 429, 5xx or no network: later. Anything else is a mistake of the app.
    if ([0, 408, 409, 429].includes(answer.status) || answer.status >= 500) return "offline";
    throw new Error(`${answer.status} ${JSON.stringify(answer.body)}`);
  }

  private async ask(method: string, path: string, body?: unknown): Promise<Answer> {
    const headers: Record<string, string> = { authorization: `Bearer ${await this.token()}` };
    if (body !== undefined) headers["content-type"] = "application/json";
    try {
      const text = body === undefined ? undefined : JSON.stringify(body);
      const packs = this.packs && path === "/v1/sync/push" && "CompressionStream" in globalThis;
      if (packs) headers["content-encoding"] = "gzip";
      const sent = packs && text ? await gzip(text) : text;
      const response = await fetch(this.url + path, { method, headers, body: sent });
      if (packs && response.status === 415) {
        this.packs = false;
        return this.ask(method, path, body);
      }
      return { status: response.status, body: await response.json() };
    } catch {
      return { status: 0, body: {} };
    }
  }
}

// deno-lint-ignore no-explicit-any
type Answer = { status: number; body: any };

/** No answer at all has status 0. */
const failed = (answer: Answer): boolean => answer.status === 0 || answer.status >= 300;

/** The sum modulo 2^64 of the first eight bytes of SHA-256 of `kind|id|rev`, as 16 hexadecimal digits. */
export async function digest(rows: Rows): Promise<string> {
  let sum = 0n;
  for (const [key, row] of Object.entries(rows)) {
    const hash = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(`${key}|${row.rev}`));
    sum = (sum + new DataView(hash).getBigUint64(0)) & 0xffffffffffffffffn;
  }
  return sum.toString(16).padStart(16, "0");
}

const gzip = (text: string): Promise<ArrayBuffer> =>
  new Response(new Blob([text]).stream().pipeThrough(new CompressionStream("gzip"))).arrayBuffer();

/** RFC 9562, section 5.7. */
export function uuidV7(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let ms = Date.now();
  for (let i = 5; i >= 0; i--) { bytes[i] = ms % 256; ms = Math.floor(ms / 256); }
  bytes[6] = (bytes[6]! & 0x0f) | 0x70;
  bytes[8] = (bytes[8]! & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** Keeps nothing over a restart: for tests. */
export class MemoryStore implements Store {
  private kept: string | null = null;
  async load(): Promise<Kept | null> { return this.kept ? JSON.parse(this.kept) : null; }
  async save(kept: Kept): Promise<void> { this.kept = JSON.stringify(kept); }
}
