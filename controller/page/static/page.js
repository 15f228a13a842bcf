// What all views share: the look, asking for something, and the stream of news.

export const byId = (id) => document.getElementById(id);

/** Shows a sentence for people; an empty one hides the place. */
export function tell(text) {
  const place = byId("sentence");
  place.textContent = text;
  place.hidden = !text;
}

/** The value at a path. Throws if there is none. */
export async function fetched(path) {
  const response = await fetch(path);
  if (!response.ok) throw new Error(path);
  return response.json();
}

const ANSWER_MS = 60_000; // a run that begins takes a while

/**
 * Asks for something. Resolves to the answer's value, with `ok`; unless `quiet`, shows its sentence if it was refused.
 * With `keepalive` it is sent even if the page is being left.
 */
export async function post(path, value = {}, { quiet = false, keepalive = false, withinMs = ANSWER_MS } = {}) {
  let answer;
  try {
    const response = await fetch(path, {
      method: "POST",
      keepalive,
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(value),
      signal: AbortSignal.timeout(withinMs),
    });
    answer = { ...(await response.json()), ok: response.ok, status: response.status };
  } catch {
    answer = { ok: false, status: 0, sentence: "This did not reach the computer at the head." };
  }
  if (!quiet) tell(answer.ok ? "" : answer.sentence);
  return answer;
}

/** Whether this device holds the controls now. */
export let holds = false;

function showControls({ sentence, holds: mine }) {
  holds = mine;
  byId("controls").textContent = sentence;
  const take = byId("take");
  if ("mayControl" in take.dataset) take.hidden = mine;
  document.dispatchEvent(new CustomEvent("controls", { detail: { holds: mine } }));
}

/** What a page does when its device is not paired any more. */
function leave() {
  location.assign("/pair");
}

const SILENT_MS = 5000; // the server says something every two seconds (SILENT_S in streams.py)

/** Listens to a stream of the server and connects again for ever; `handlers` are functions by the event's name. */
function listen(path, handlers) {
  let source = null;
  let heard = Date.now();
  let lostAt = null;
  const place = byId("connection");

  const alive = () => {
    heard = Date.now();
    lostAt = null;
    place.hidden = true;
    document.documentElement.dataset.connected = "yes";
  };
  const lost = () => {
    if (lostAt !== null) return;
    lostAt = new Date();
    const since = lostAt.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
    place.textContent = `No connection to the computer at the head since ${since}. A run goes on without this page.`;
    place.hidden = false;
    document.documentElement.dataset.connected = "no";
  };
  const open = () => {
    source?.close();
    heard = Date.now();
    source = new EventSource(path);
    source.onopen = alive;
    source.onerror = async () => {
      lost();
      if (source.readyState !== EventSource.CLOSED) return; // the browser connects again by itself
      const there = await fetch("/controls").catch(() => null);
      if (there?.status === 401) leave();
      if (there?.ok) place.textContent = "Too many pages are open on this device. Close some.";
    };
    for (const [name, handler] of Object.entries({ controls: showControls, gone: leave, beat: () => {}, ...handlers })) {
      source.addEventListener(name, (event) => {
        alive();
        handler(JSON.parse(event.data));
      });
    }
  };
  // A network that goes away closes no connection: silence tells. A browser that gave up is started again.
  setInterval(() => {
    if (Date.now() - heard > SILENT_MS) lost();
    if (source.readyState === EventSource.CLOSED || Date.now() - heard > 2 * SILENT_MS) open();
  }, 1000);
  addEventListener("pagehide", () => source.close());
  addEventListener("pageshow", (event) => event.persisted && open());
  addEventListener("online", open);
  addEventListener("offline", lost);
  open();
}

/** Starts a view: its controls, and its stream at `path`. */
export function start(path, handlers) {
  byId("take").addEventListener("click", () => post("/controls/take"));
  byId("naming").addEventListener("submit", (event) => {
    event.preventDefault();
    post("/device/name", { name: byId("device").value });
  });
  listen(path, handlers);
}
