// Asks our server and two general-purpose replication servers for the same, each by plain HTTP over one connection as its
// own client asks, and prints times, bytes and ratios; tests/bench/sync starts it with the PROGRAM and the PEERS' folder.
//
// Every document is a comment of 358 bytes as JSON, with the same ids and words on all three. Bytes are all that went
// through the client's socket in both directions, heads too. All clients accept brotli and gzip, and batches are alike.
import { spawn } from "node:child_process";
import { mkdtempSync, mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { documents } from "./documents.mjs";
import { Couch, Ours, Rx } from "./protocols.mjs";

const [program, peers, ...flags] = process.argv.slice(2);
const quick = flags.includes("--quick");
const [FIRST, ALL, PUSHED, CHANGED] = quick ? [500, 1_000, 100, 10] : [10_000, 100_000, 1_000, 10];
const ROUNDS = quick ? 1 : 5;
const home = mkdtempSync(join(tmpdir(), "bench-sync-"));
const children = [];

async function freePort() {
  const probe = createServer().listen(0, "127.0.0.1");
  await new Promise((resolve) => probe.once("listening", resolve));
  const { port } = probe.address();
  await new Promise((resolve) => probe.close(resolve));
  return port;
}

function start(command, args, settings = {}) {
  const child = spawn(command, args, { env: { ...process.env, ...settings }, stdio: ["ignore", "ignore", "inherit"] });
  children.push(child);
  return child;
}

/** The three servers, each empty and answering. */
async function servers() {
  const here = new URL(".", import.meta.url).pathname;
  const node = async (script) => {
    const [folder, port] = [join(home, script), await freePort()];
    mkdirSync(folder);
    start(process.execPath, [join(here, script), folder, String(port)], { PACKAGES: `${peers}/`, NODE_ENV: "production" });
    return port;
  };
  const ours = await Ours.begin(program, join(home, "lustrum"), await freePort(), start);
  return [ours, await Couch.begin(await node("express-pouchdb.mjs")), await Rx.begin(await node("rxdb-server.mjs"))];
}

/** How much memory a running program took at most since it was last asked, in MB. */
function peakSince(child) {
  const peak = /VmHWM:\s+(\d+) kB/.exec(readFileSync(`/proc/${child.pid}/status`, "utf8"))[1] / 1000;
  // Linux: the peak is forgotten.
  writeFileSync(`/proc/${child.pid}/clear_refs`, "5");
  return peak;
}

/** The peak of our server while a phone gets everything: another phone of a person, and a person's first. */
async function memory() {
  console.log("| documents | before, MB | another phone: peak, MB | s | a person's first phone: peak, MB | s |\n|---|---|---|---|---|---|");
  const ours = await Ours.begin(program, join(home, "lustrum"), await freePort(), start);
  const server = children.at(-1);
  const more = documents(ours.jobs, ours.person);
  let there = 0;
  for (const size of [1_000, 10_000, 100_000]) {
    await ours.fill(more(size - there));
    there = size;
    const cells = [];
    for (const whose of ["token", "firstToken"]) {
      if (whose === "firstToken") await ours.hire();
      await ours.stay();
      peakSince(server);
      const before = peakSince(server);
      const phone = ours.phone(whose);
      const begun = performance.now();
      const got = await phone.pull();
      if (got !== size) throw new Error(`${got} of ${size}`);
      const seconds = (performance.now() - begun) / 1000;
      cells.push(...(whose === "token" ? [before.toFixed(0)] : []), peakSince(server).toFixed(0), seconds.toFixed(2));
      phone.connection.close();
    }
    console.log(`| ${size} | ${cells.join(" | ")} |`);
  }
}

/** Rounds of a question in turns, so that whatever else the machine does meets all alike. */
async function row(what, all, ask) {
  const seen = all.map(() => []);
  for (let round = 0; round < ROUNDS; round++) {
    for (const [nth, server] of all.entries()) {
      await server.stay?.();
      const phone = server.phone();
      const before = await server.prepare?.(phone);
      phone.connection.forget();
      const begun = performance.now();
      await ask(server, phone, round, before);
      seen[nth].push({ ms: performance.now() - begun, bytes: phone.connection.bytes() });
      phone.connection.close();
    }
  }
  const middle = (numbers) => numbers.toSorted((a, b) => a - b)[Math.floor(numbers.length / 2)];
  return all.map((_, nth) => ({
    what,
    ms: middle(seen[nth].map((one) => one.ms)),
    least: Math.min(...seen[nth].map((one) => one.ms)),
    most: Math.max(...seen[nth].map((one) => one.ms)),
    bytes: middle(seen[nth].map((one) => one.bytes)),
  }));
}

function print(all, rows) {
  const names = all.map((server) => server.name);
  console.log(`| | ${names.join(" | ")} | fastest other / ours | ours / fewest bytes of others |`);
  console.log(`|---|${names.map(() => "---|").join("")}---|---|`);
  for (const row of rows) {
    const cells = row.map(({ ms, least, most, bytes }) =>
      `${ms.toFixed(0)} ms (${least.toFixed(0)}-${most.toFixed(0)}), ${(bytes / 1000).toFixed(1)} kB`);
    const [ours, ...others] = row;
    const faster = Math.min(...others.map((one) => one.ms)) / ours.ms;
    const fewer = ours.bytes / Math.min(...others.map((one) => one.bytes));
    console.log(`| ${ours.what} | ${cells.join(" | ")} | ${faster.toFixed(2)} | ${fewer.toFixed(2)} |`);
  }
}

async function main() {
  const all = await servers();
  const [ours] = all;
  const more = documents(ours.jobs, ours.person);
  const fill = async (count) => {
    const some = more(count);
    for (const server of all) await server.fill(some);
  };
  const rows = [];
  await fill(FIRST);
  rows.push(await row(`first sync of ${FIRST} documents`, all, async (server, phone) => {
    const got = await phone.pull();
    if (got < FIRST) throw new Error(`${server.name} gave ${got} of ${FIRST}`);
  }));
  const said = Array.from({ length: ROUNDS }, () => more(PUSHED));
  rows.push(await row(`push of ${PUSHED} offline commands`, all, (_, phone, round) => phone.push(said[round])));
  await fill(ALL - FIRST - PUSHED * ROUNDS);
  const places = [];
  for (const server of all) places.push(await server.phone().catchUp());
  const news = Array.from({ length: ROUNDS }, () => more(CHANGED));
  const behind = await changes(all, places, news);
  rows.push(behind);
  print(all, rows);
}

/** A phone that has everything is told of what came since, again and again. */
async function changes(all, places, news) {
  let round = -1;
  const turn = new Map(all.map((server, nth) => [server, nth]));
  return row(`pull of ${CHANGED} changes out of ${ALL}`, all.map((server) => Object.assign(server, {
    prepare: async (phone) => {
      if (turn.get(server) === 0) round++;
      await server.fill(news[round]);
      await phone.register?.();
      phone.place = places[turn.get(server)];
    },
  })), async (server, phone) => {
    const got = await phone.pull();
    if (got !== CHANGED) throw new Error(`${server.name} gave ${got} of ${CHANGED}`);
    places[turn.get(server)] = phone.place;
  });
}

try {
  await (flags.includes("memory") ? memory() : main());
} finally {
  children.forEach((child) => child.kill());
  rmSync(home, { recursive: true, force: true });
}
