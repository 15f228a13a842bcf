// The form that begins a run.

import { byId, holds, post, start } from "./page.js";
import { runOptions } from "./run-options.js";

const form = byId("begin");

function enable() {
  for (const button of form.querySelectorAll("button")) button.disabled = !holds;
}

if (form) {
  const fields = form.elements;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const answer = byId("answer");
    const button = form.querySelector("button[type=submit]");
    button.disabled = true;
    answer.textContent = "Starting the run …";
    const reply = await post("/run", {
      plan: fields.plan.value,
      kit: fields.kit.value,
      place: fields.place.value,
      ...runOptions(fields),
    });
    answer.textContent = reply.sentence;
    if (reply.ok) location.assign(`/?session=${encodeURIComponent(reply.session)}`);
    else enable();
  });
  byId("find").addEventListener("click", async (event) => {
    event.target.disabled = true;
    const answer = byId("answer");
    answer.textContent = "Looking at every port for a few seconds …";
    const reply = await post("/boards");
    answer.textContent = reply.sentence;
    if (reply.ok && reply.ports.length) {
      fields.port.value = reply.ports[0];
      const list = byId("ports");
      for (const port of reply.ports) list.append(new Option(port, port));
    }
    enable();
  });
  document.addEventListener("controls", enable);
  enable();
}
start("/events", {});
