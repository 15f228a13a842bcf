// The line to the head: which conversation is open, and how old each message is at most.
import { post, tell } from "./page.js";

const HERE_MS = 1000;

export const link = { talk: null, beat: 0, beatAt: 0 };

function heard({ beat }) {
  if (beat > link.beat) Object.assign(link, { beat, beatAt: performance.now() });
}

/** Asks the head, also while the page is being left; a refusal is shown. */
async function ask(path, value) {
  const answer = await post(path, value, { quiet: true, keepalive: true });
  if (answer.ok) heard(answer);
  else tell(answer.sentence);
  return answer;
}

/** Opens the pad, or lets the program look at one step. */
export async function open(kit, port, step = null) {
  tell("");
  const answer = await ask("/head/open", { kit, port, step });
  if (answer.ok) link.talk = answer.talk;
  return answer.ok;
}

/** Sends a message to the head, with its age. */
export function send(message) {
  if (link.talk === null) return Promise.resolve({ ok: false });
  const since = Math.max(0, performance.now() - link.beatAt);
  return ask("/head/send", { talk: link.talk, beat: link.beat, since_ms: since, message });
}

/** Ends the conversation: the head is stopped with a ramp. */
export function close() {
  const { talk } = link;
  link.talk = null;
  return talk === null ? Promise.resolve() : ask("/head/close", { talk });
}

// Whoever is not heard of for five seconds has left: then the head is stopped.
setInterval(() => {
  if (link.talk !== null && !document.hidden) ask("/head/here", { talk: link.talk });
}, HERE_MS);
addEventListener("pagehide", close);
