// A kit: the form changes the text of the file, and the program says what follows from it.

import { byId, holds, post, start } from "./page.js";

const WAIT_MS = 350; // after the last letter of a search
const form = byId("kit");
const inputs = [...form.querySelectorAll("[data-key]")];
let base = {}; // what the text states, by key, as the program read it last
let digest = form.dataset.digest;
let name = form.dataset.name;

function asked() {
  const values = {};
  for (const input of inputs) {
    if (input.value !== (base[input.dataset.key] ?? "")) values[input.dataset.key] = input.value;
  }
  return { name: name || byId("name").value, text: byId("text").value, values };
}

function show(judged) {
  for (const place of form.querySelectorAll("[data-wrong], [data-source]")) place.textContent = "";
  for (const input of inputs) input.removeAttribute("aria-invalid");
  byId("text").value = judged.text;
  if (judged.values) {
    base = judged.values;
    for (const input of inputs) input.value = base[input.dataset.key];
  }
  const others = [];
  for (const { sentence, key } of judged.mistakes) {
    const place = form.querySelector(`[data-wrong="${key}"]`);
    if (!key || place === null) others.push(sentence);
    else {
      place.textContent = sentence;
      byId(key.replaceAll(".", "-")).setAttribute("aria-invalid", "true");
      place.closest("details").open = true;
    }
  }
  list(byId("wrong"), others, (sentence) => ["li", sentence]);
  for (const [key, { value, source }] of Object.entries(judged.supplied ?? {})) {
    const place = form.querySelector(`[data-source="${key}"]`);
    if (place !== null) place.textContent = `Now ${value} (${source}).`;
  }
  byId("caution").textContent = judged.caution ?? "";
  byId("caution").hidden = !judged.caution;
  byId("figures").replaceChildren();
  for (const figure of judged.figures ?? []) {
    for (const [tag, text] of [["dt", figure.what], ["dd", figure.value]]) {
      const made = document.createElement(tag);
      made.textContent = text;
      byId("figures").append(made);
    }
  }
}

function list(box, all, made) {
  box.replaceChildren(
    ...all.map((one) => {
      const [tag, text] = made(one);
      const item = document.createElement(tag);
      item.textContent = text;
      return item;
    }),
  );
}

async function judge() {
  byId("answer").textContent = "Checking …";
  const judged = await post("/kits/judge", asked(), { quiet: true });
  if (judged.text === undefined) {
    byId("answer").textContent = judged.sentence || judged.refused;
    return;
  }
  show(judged);
  const wrong = judged.mistakes.length;
  byId("answer").textContent = wrong ? `Not yet: ${wrong} to correct or to add.` : "The kit can be used.";
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  judge();
});

byId("save").addEventListener("click", async () => {
  byId("answer").textContent = "Saving …";
  const saved = await post("/kits/save", { ...asked(), digest }, { quiet: true });
  if (saved.text !== undefined) show(saved);
  byId("answer").textContent = saved.sentence;
  if (!saved.ok) return;
  [name, digest] = [saved.name, saved.digest];
  history.replaceState(null, "", `/kit/${encodeURIComponent(name)}`);
  document.querySelector("h1").textContent = name;
  byId("name")?.closest("label").remove();
});

function set(key, value) {
  const input = byId(key.replaceAll(".", "-"));
  if (input !== null) input.value = value;
}

function choose(kind, entry) {
  set(`${kind}.make`, entry.maker);
  set(`${kind}.model`, entry.model);
  if (kind === "camera") {
    set("camera.sensor_width_mm", "");
    set("camera.sensor_height_mm", "");
  } else {
    set("lens.projection", "");
    set("lens.focal_length_mm", entry.min_focal_mm === entry.max_focal_mm ? String(entry.min_focal_mm) : "");
  }
  byId("answer").textContent = `Chosen: ${entry.maker} ${entry.model}.`;
}

for (const input of form.querySelectorAll("[data-find]")) {
  const kind = input.dataset.find;
  const box = form.querySelector(`[data-found="${kind}"]`);
  let timer = null;
  input.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(async () => {
      const words = input.value.trim();
      const answer = words ? await post("/kits/find", { words, kind }, { quiet: true }) : { found: [], more: 0 };
      if (input.value.trim() !== words) return;
      box.replaceChildren(
        ...(answer.found ?? []).map((entry) => {
          const button = document.createElement("button");
          button.type = "button";
          button.textContent = entry.text;
          button.addEventListener("click", () => {
            choose(kind, entry);
            box.replaceChildren();
          });
          return button;
        }),
      );
      if (words && !answer.found?.length) box.textContent = answer.sentence || "None has all these words.";
      if (answer.more) box.append(`and ${answer.more} more: type more words`);
    }, WAIT_MS);
  });
  input.addEventListener("keydown", (event) => event.key === "Enter" && event.preventDefault());
}

function enable() {
  byId("save").disabled = !holds;
}

document.addEventListener("controls", enable);
judge();
start("/events", {});
