// The view "Set up": its steps, the questions of the program, the pad and the buttons beside it.
import { Questions } from "./asking.js";
import { close, link, open, send } from "./head-link.js";
import { begin, bind, letGo } from "./pad.js";
import { byId, post, start, tell } from "./page.js";

const kit = byId("kit");
const port = byId("port");
const change = byId("change"); // missing without a kit
kit.addEventListener("change", () => change?.setAttribute("href", `/kit/${encodeURIComponent(kit.value)}`));
let latest = null; // what was shown last
let rings = null;
let wasEnded = null;

function element(name, text, more = {}) {
  const made = document.createElement(name);
  if (text) made.textContent = text;
  return Object.assign(made, more);
}

function button(text, label, act) {
  const made = element("button", text, { type: "button" });
  made.setAttribute("aria-label", label);
  made.addEventListener("click", act);
  return made;
}

// Steps.

function standing(step) {
  if (!step.done) return "○ open";
  return `✓ done, ${step.seen ? "seen" : "on your word"}, ${step.when}`;
}

async function mark(step, how) {
  const answer = await post("/set-up/mark", { kit: kit.value, step: step.name, mark: how });
  if (answer.ok) showSteps(answer.steps);
}

async function look(step) {
  if (!port.reportValidity()) return;
  await hold(step.name);
}

function stepElement(step, number, all) {
  const made = element("details", "", { className: "step", id: `step-${step.name}` });
  made.append(element("summary", `${number + 1}. ${step.title}: ${standing(step)}`));
  for (const sentence of step.how) made.append(element("p", sentence));
  if (step.found) made.append(element("p", step.found, { className: "found" }));
  const row = element("div", "", { className: "row" });
  if (step.at_head) row.append(button("Look at the head", `Look at the head: ${step.title}`, () => look(step)));
  if (!step.calibrated) {
    if (step.done) row.append(button("Do again", `Do again: ${step.title}`, () => mark(step, "again")));
    else row.append(button("Done", `Done: ${step.title}`, () => mark(step, "done")));
  }
  if (!step.done) {
    row.append(
      button("Skip", `Skip: ${step.title}`, () => {
        made.open = false;
        const next = all.slice(number + 1).find((each) => !each.done);
        if (next) {
          const place = byId(`step-${next.name}`);
          place.open = true;
          place.querySelector("summary").focus();
        }
      }),
    );
  }
  made.append(row);
  return made;
}

function showSteps(steps) {
  const place = byId("steps");
  const opened = new Set([...place.querySelectorAll("details[open]")].map((each) => each.id));
  place.replaceChildren(...steps.map(stepElement));
  const first = steps.find((step) => !step.done);
  for (const each of place.children) each.open = opened.has(each.id);
  if (first && opened.size === 0) byId(`step-${first.name}`).open = true;
}

async function loadSteps() {
  if (!kit.value) return;
  const response = await fetch(`/set-up/steps?kit=${encodeURIComponent(kit.value)}`).catch(() => null);
  const answer = response === null ? null : await response.json().catch(() => null);
  if (answer?.steps) showSteps(answer.steps);
  else if (answer?.sentence) tell(answer.sentence);
}

// Questions.

const ANSWERS = { yesno: ["yes", "no"], ready: ["ready"] };
const SENT = { yes: { yes: true }, no: { yes: false }, ready: { text: "" } };
const questions = new Questions(byId("question"), ({ number }, answer) => send({ answer: number, ...SENT[answer] }));

function openQuestion(talk, question) {
  if (question === null) return null;
  const { number, ask, kind } = question;
  return { id: `${talk}/${number}`, number, words: ask, answers: ANSWERS[kind] ?? [] }; // each conversation counts anew
}

function ring() {
  navigator.vibrate?.([200, 100, 200]);
}

// The head.

function placeWords(place) {
  if (place === null) return "";
  if (!place.known) return "Where the head points is not known.";
  return `The head is at yaw ${place.yaw_deg.toFixed(2)}°, pitch ${place.pitch_deg.toFixed(2)}°.`;
}

function showHead(shown) {
  const { talk, said, question, place, ended, rings: count } = shown;
  latest = shown;
  const mine = talk !== null && talk === link.talk;
  if (talk === null && link.talk !== null && ended !== null) link.talk = null;
  for (const each of document.querySelectorAll("[data-needs-head]")) each.disabled = !mine || place === null;
  for (const each of document.querySelectorAll("[data-needs-talk]")) each.disabled = !mine;
  if (!mine) letGo();
  byId("place").textContent = placeWords(place);
  byId("said").replaceChildren(...said.map((each) => element("li", each)));
  byId("ended").textContent = ended === null ? "" : ended.end;
  if (rings !== null && count > rings) ring();
  rings = count;
  if (questions.show(openQuestion(talk, question), mine)) letGo();
  if (ended !== null && JSON.stringify(ended) !== wasEnded) loadSteps();
  wasEnded = ended === null ? null : JSON.stringify(ended);
}

async function hold(step = null) {
  begin();
  const opened = await open(kit.value, port.value, step);
  if (opened && latest !== null) showHead(latest); // the news may have come before the answer
}

byId("open").addEventListener("click", () => {
  if (kit.reportValidity() && port.reportValidity()) hold();
});
byId("leave").addEventListener("click", () => {
  letGo();
  close();
});
byId("stop").addEventListener("click", () => send({ stop: true }));
byId("zero").addEventListener("click", () => send({ do: "zero" }));
for (const each of document.querySelectorAll("[data-step]")) {
  each.addEventListener("click", () => {
    const size = Number(byId("size").value);
    send({ do: "step", pan: Number(each.dataset.pan), tilt: Number(each.dataset.tilt), size });
  });
}
byId("go").addEventListener("submit", (event) => {
  event.preventDefault();
  send({ do: "pose", yaw_deg: byId("yaw").valueAsNumber, pitch_deg: byId("pitch").valueAsNumber });
});
kit.addEventListener("change", loadSteps);
bind(byId("pad"));
start("/head/events", { head: showHead });
loadSteps();
