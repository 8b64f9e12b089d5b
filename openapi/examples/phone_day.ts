// A morning with `phone.ts`: works out of reach, syncs, is restored from a backup, and prints what it then holds.
// `tests/document phone` compiles and runs it.
import { MemoryStore, Phone } from "./phone.ts";

declare const process: { argv: string[] };
const [url, token, job] = process.argv.slice(2) as [string, string, string];
const store = new MemoryStore();
const phone = await Phone.open(url, async () => token, store);
const outcomes: string[] = [];
phone.onResult = (result) => outcomes.push(result.outcome);
const states = [await phone.sync()];
await phone.act("comment", job, { text: "from the garage" });
await phone.act("edit_note", job, { text: "gate code 7" });
const backup = JSON.stringify(phone.kept);
await phone.act("no_such_command", job, {});
await phone.act("request_change", job, { text: "Thursday" });
states.push(await phone.sync());
// The backup of the phone is put back: it says again what it had said, and something new under a number that is taken.
phone.kept = JSON.parse(backup);
await phone.act("comment", job, { text: "after the restore" });
states.push(await phone.sync());
// What is said while the last page is on its way goes in the same round, and a poke at that time has it look once more.
const fetched = globalThis.fetch;
let pulls = 0;
globalThis.fetch = async (...asked) => {
  const answer = await fetched(...asked);
  if (String(asked[0]).includes("/sync/pull")) {
    pulls += 1;
    if (pulls === 1) await phone.act("comment", job, { text: "while it pulled" });
    if (pulls === 2) void phone.sync();
  }
  return answer;
};
states.push(await phone.sync());
const comments = phone.all("comment").map((comment) => (comment as { text: string }).text).sort();
const note = (phone.all("note")[0] as { text: string }).text;
console.log(JSON.stringify({ states, pulls, outcomes, comments, note, jobs: phone.all("job").length, outbox: phone.kept.outbox.length }));
