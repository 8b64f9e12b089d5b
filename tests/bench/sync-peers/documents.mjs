// Invented comments, the same for every server.

/** As many bytes as each has as JSON: what others measured with. */
const BYTES = 358;
const WORDS = (
  "the a to of and in on is was not with by at for left right front rear door bonnet roof sill wheel arch trim seat belt " +
  "mirror glass seal badge key gate neighbour tap hose bucket towel mitt clay foam rinse dry wipe water spot film swirl " +
  "scratch chip tar sap pollen dust salt brake dark light soft hard warm cold wet customer asked said wants again later " +
  "before after today tomorrow morning noon photo taken done open closed checked please mind careful minutes more less"
).split(" ");

/** Numbers by xorshift, so that every run has the same words. */
let state = 0x2545f491;
function below(count) {
  state ^= state << 13;
  state ^= state >>> 17;
  state ^= state << 5;
  return (state >>> 0) % count;
}

let counted = 0;
/** RFC 9562, section 5.7; the instant is real, as ids must not come from the past. */
export function uuidV7() {
  const ms = Date.now().toString(16).padStart(12, "0");
  const hex = (digits) => Array.from({ length: digits }, () => below(16).toString(16)).join("");
  const count = (counted++ % 4096).toString(16).padStart(3, "0");
  return `${ms.slice(0, 8)}-${ms.slice(8)}-7${count}-8${hex(3)}-${hex(12)}`;
}

/** Makes comments on these jobs by this person. */
export function documents(jobs, by_person) {
  return (count) => Array.from({ length: count }, () => {
    const document = { id: uuidV7(), job: jobs[below(jobs.length)], text: "", by_person, at: "2026-05-04T06:00:00Z" };
    let text = "";
    while (JSON.stringify(document).length + text.length < BYTES) text += `${WORDS[below(WORDS.length)]} `;
    return { ...document, text: text.slice(0, BYTES - JSON.stringify(document).length - 1) + "." };
  });
}
