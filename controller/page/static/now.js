// Now: what the head does, and requests to the run. All words come from the run.

import { Questions } from "./asking.js";
import { Caller, keepAwake } from "./calling.js";
import { onHold } from "./holding.js";
import { Meaning } from "./meaning.js";
import { byId as by, fetched, holds, post, start } from "./page.js";
import { SphereMap } from "./sphere.js";

const TOLD_MS = 10_000; // the run reads a request within five seconds, or the answer says that it has not
const root = by("run");
const session = root.dataset.session;
const at = `/run/${encodeURIComponent(session)}`;

// States in which the time that is left passes.
const COUNTING = ["moving", "exposing", "settling", "transferring", "referencing", "checking", "arming"];

let run = null;
let frames = [];
let receivedMs = 0;
let mapAsked = false;
const rung = {}; // what was called out last, by its kind: a question in between makes no old warning new

const sphere = new SphereMap(by("sphere"), choose);
const meaning = new Meaning(by("meaning"), by("means"));
const caller = new Caller(by("sound"));
const questions = new Questions(by("question"), ({ id }, answer) => tell({ words: answer, question: id }));

async function tell(request) {
  const answer = by("answer");
  answer.textContent = "Sending …";
  const reply = await post(`${at}/tell`, request, { withinMs: TOLD_MS });
  answer.textContent = reply.sentence;
}

function duration(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  const [hours, minutes] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60];
  if (hours) return `${hours} h ${minutes} min`;
  return minutes ? `${minutes} min ${whole % 60} s` : `${whole} s`;
}

function showTimes() {
  if (!run) return;
  const passed = (performance.now() - receivedMs) / 1000;
  const left = run.left_s === null ? null : Math.max(0, run.left_s - (COUNTING.includes(run.state) ? passed : 0));
  by("left").textContent = !run.active || left === null ? "" : `${duration(left)} left`;
  const end = new Date(Date.now() + (left || 0) * 1000);
  by("ends").textContent =
    !run.active || left === null ? "" : `ends about ${end.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false })}`;
  const until = run.announced === null ? 0 : run.announced.left_s - passed;
  by("announced").hidden = run.announced === null || until < -0.5;
  by("announced-left").textContent = run.announced === null ? "" : `${Math.max(0, Math.ceil(until))} s`;
}

function show(state) {
  const before = run;
  run = state;
  receivedMs = performance.now();
  if (!mapAsked) drawMap();
  by("doing").textContent = run.doing;
  by("share").value = run.total ? run.made / run.total : 0;
  by("made").textContent = `${run.made} of ${run.total} exposures`;
  if (run.announced !== null) by("announced-words").textContent = run.announced.words;
  const asked = questions.show(openQuestion(), holds);
  by("ended").hidden = run.active;
  by("bar").hidden = !run.active;
  by("resume").hidden = !lacks();
  by("warning").textContent = run.warning === null ? "none" : run.warning.words;
  meaning.of(run.warning === null ? "" : run.warning.words);
  by("line").textContent = run.line === null ? "–" : lineWords(run.line);
  by("supply").textContent = run.supply_low === null ? "–" : run.supply_low ? "low" : "good";
  by("wind").textContent = run.gusts === null ? "no sensor" : run.gusts ? "gusts" : "calm";
  by("used").textContent = usedWords();
  by("pause-at").textContent = run.pause;
  enable();
  showTimes();
  ring(before, asked);
}

// Whether a run can make more of it: the last one did not end complete, or a frame was asked for since.
function lacks() {
  return run.ended === null || !run.ended.complete || frames.some((frame) => frame.standing !== "made");
}

// Nothing is known of the run now: no words, button or question of what was shown before stays.
function showUnread({ sentence }) {
  run = null;
  by("doing").textContent = sentence;
  for (const id of ["left", "ends", "made"]) by(id).textContent = "";
  for (const id of ["announced", "bar", "ended", "frame"]) by(id).hidden = true;
  questions.show(null, false);
  enable();
}

function openQuestion() {
  if (!run.active || run.question === null) return null;
  return { id: run.question.number, words: run.question.words, answers: ["yes", "no"] };
}

function lineWords(line) {
  const bad = line.repeated + line.damaged;
  return bad ? `${line.sent} sent, ${line.repeated} repeated, ${line.damaged} damaged` : `${line.sent} sent, all well`;
}

function usedWords() {
  if (run.used_s === null) return "–";
  const battery = run.battery_s === null ? "" : `; ${duration(run.battery_s)} on this battery`;
  return battery ? `${usedInAll()}${battery}` : usedInAll();
}

function usedInAll() {
  return run.used_wh === null ? duration(run.used_s) : `${duration(run.used_s)}, about ${run.used_wh.toFixed(1)} Wh`;
}

function ring(before, asked) {
  if (asked) call("question", `${run.question.number}`, run.question.words);
  const fault = run.warning === null ? null : `${run.warning.at_utc} ${run.warning.words}`;
  if (before === null || fault === null || !run.active) rung.fault = fault;
  else call("fault", fault, run.warning.words);
  if (before !== null && before.active && !run.active) caller.call("end", run.doing);
}

function call(kind, what, words) {
  if (rung[kind] === what) return;
  rung[kind] = what;
  caller.call(kind, words);
}

function showFrames(all) {
  frames = all;
  sphere.show(frames);
  showFrame();
  if (run !== null) by("resume").hidden = !lacks();
}

function showSaid(sentences) {
  const list = by("said");
  const known = Number(list.dataset.last || 0);
  for (const sentence of sentences) {
    if (sentence.number <= known) continue;
    const item = document.createElement("li");
    item.textContent = `${new Date(sentence.at_utc).toLocaleTimeString([], { hour12: false })}  ${sentence.words}`;
    list.prepend(item);
    list.dataset.last = sentence.number;
  }
}

function enable() {
  const may = holds && run !== null && run.active;
  for (const button of document.querySelectorAll("[data-tell], #halt")) button.disabled = !may;
  by("again").disabled = !holds;
}

function choose(id) {
  sphere.choose(id);
  by("frame").hidden = false;
  showFrame();
}

function showFrame() {
  if (sphere.chosen === null) return;
  const of = frames.filter((frame) => sphere.first(frame.id) === sphere.chosen);
  by("frame-words").textContent = of
    .map((frame) => {
      const which = of.length > 1 ? `Frame ${frame.id} (pass ${frame.pass_number})` : `Frame ${frame.id}`;
      const hand = frame.by_hand ? ", shot by hand" : "";
      const pose = `yaw ${frame.yaw_deg.toFixed(1)}°, pitch ${frame.pitch_deg.toFixed(1)}°`;
      return `${which}: ${frame.standing}, ${frame.made} of ${frame.of} exposures; ${pose}${hand}.`;
    })
    .join(" ");
}

for (const button of document.querySelectorAll("[data-tell]")) {
  button.addEventListener("click", () => tell({ words: button.dataset.tell }));
}
onHold(by("halt"), () => tell({ words: "halt" }));
by("again").addEventListener("click", () => {
  const of = frames.filter((frame) => sphere.first(frame.id) === sphere.chosen).map((frame) => frame.id);
  tell({ words: `retake ${of.join(",")}` });
});
by("before").addEventListener("click", () => choose(sphere.step(-1)));
by("after").addEventListener("click", () => choose(sphere.step(1)));
by("larger").addEventListener("click", () => sphere.magnify(1));
by("smaller").addEventListener("click", () => sphere.magnify(-1));
document.addEventListener("controls", () => {
  enable();
  if (run !== null) questions.show(openQuestion(), holds);
});
setInterval(showTimes, 250);

const awake = keepAwake(() => run !== null && run.active);
if (!awake) by("granted").textContent = "This browser lets only secure pages keep the screen awake. It may go dark.";

// The map is asked for until it has come: a phone's network may fail at first, and the rest must work without it.
async function drawMap() {
  mapAsked = true;
  try {
    sphere.draw(await fetched(`${at}/map`));
    sphere.show(frames);
  } catch {
    setTimeout(drawMap, 2000);
  }
}

start(`${at}/events`, { run: show, frames: showFrames, said: showSaid, unread: showUnread });
