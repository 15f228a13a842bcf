// Plan: drawn again after every change.

import { JobList } from "./jobs.js";
import { byId as by, holds, post, start } from "./page.js";
import { SphereMap } from "./sphere.js";

const WAIT_MS = 400; // after the last change
const form = by("form");

if (form) {
  const sphere = new SphereMap(by("sphere"), () => {});
  const jobs = new JobList(by("jobs"), (job) =>
    job.title.startsWith("Rehearse") ? ["Read the report", `/file/${encodeURIComponent(job.subject)}/report.html`] : null,
  );
  let timer = null;
  let good = false;
  let asked = 0;

  const options = () => {
    const found = {};
    for (const field of form.elements) {
      if (!field.name || field.name === "kit") continue;
      const part = field.closest("[data-for]");
      if (part?.hidden) continue;
      if (field.type === "checkbox") found[field.name] = field.checked;
      else if (field.value.trim()) found[field.name] = field.value.trim();
    }
    return found;
  };

  const fields = () => {
    const region = form.elements.region.value;
    for (const part of form.querySelectorAll("[data-for]")) part.hidden = !part.dataset.for.split(" ").includes(region);
  };

  const enable = () => {
    by("save").disabled = !(holds && good);
    for (const button of by("rehearse").querySelectorAll("button")) button.disabled = !holds || !by("rehearse").elements.plan.value;
  };

  const draw = async () => {
    asked += 1;
    const mine = asked;
    by("state").textContent = "Drawing the plan …";
    const plan = await post("/plan/draw", { kit: form.elements.kit.value, options: options() }, { quiet: true });
    if (mine !== asked) return;
    good = plan.ok && plan.refused === undefined;
    by("state").textContent = good ? "This plan covers what was asked for." : plan.refused || plan.sentence;
    by("proof").textContent = good ? plan.proof : "";
    by("sentences").replaceChildren();
    for (const [id, text] of [
      ["frames", (p) => p.frames],
      ["exposures", (p) => p.exposures],
      ["minutes", (p) => (p.seconds / 60).toFixed(1)],
      ["gigabytes", (p) => (p.megabytes / 1000).toFixed(1)],
      ["energy", (p) => `${p.watt_hours.toFixed(1)} Wh`],
    ]) {
      by(id).textContent = good ? text(plan) : "–";
    }
    if (good) {
      sphere.draw(plan.map);
      sphere.show(plan.map.frames.map((frame) => ({ id: frame.id, standing: "made" })));
      sphere.svg.setAttribute("aria-label", `The planned sphere: ${plan.frames} frames.`);
      for (const sentence of plan.sentences) {
        const item = document.createElement("li");
        item.textContent = sentence;
        by("sentences").append(item);
      }
    }
    enable();
  };

  const later = () => {
    fields();
    good = false;
    by("state").textContent = "Drawing the plan …"; // what is said of the plan before is not true of this one
    enable();
    clearTimeout(timer);
    timer = setTimeout(draw, WAIT_MS);
  };

  form.addEventListener("input", later);
  form.addEventListener("submit", (event) => event.preventDefault());
  by("larger").addEventListener("click", () => sphere.magnify(1));
  by("smaller").addEventListener("click", () => sphere.magnify(-1));
  by("save").addEventListener("click", async () => {
    by("save").disabled = true;
    const reply = await post("/plan/save", {
      kit: form.elements.kit.value,
      options: options(),
      name: by("name").value,
    });
    by("saved").textContent = reply.sentence;
    if (reply.ok) {
      const plans = by("rehearse").elements.plan;
      plans.append(new Option(reply.plan, reply.plan, false, true));
      const link = document.createElement("a");
      link.className = "button";
      link.textContent = "Shoot this plan";
      link.href = `/begin?plan=${encodeURIComponent(reply.plan)}`;
      by("saved").append(" ", link);
    }
    enable();
  });
  by("rehearse").addEventListener("submit", async (event) => {
    event.preventDefault();
    await post("/plan/rehearse", {
      plan: event.target.elements.plan.value,
      faults: event.target.elements.faults.value,
    });
  });
  document.addEventListener("controls", enable);
  fields();
  draw();
  start("/jobs/events", { jobs: (all) => jobs.show(all.filter((job) => job.title.startsWith("Rehearse"))) });
} else {
  start("/events", {});
}
