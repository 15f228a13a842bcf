// One session: its account, runs of what is missing, and work on its report and pictures.

import { JobList } from "./jobs.js";
import { byId as by, fetched, holds, post, start } from "./page.js";
import { runOptions } from "./run-options.js";
import { refresh } from "./refreshing.js";

const session = by("session").dataset.session;
const name = encodeURIComponent(session);
const at = `/sessions/${name}`;
const jobs = new JobList(by("jobs"));

let asking = false;
let ended = null; // the numbers of the work that had ended when the list came last

function enable() {
  for (const button of document.querySelectorAll("[data-controls]")) button.disabled = asking || !holds;
}

// One request at a time: two taps are one.
async function ask(path, value, place) {
  asking = true;
  enable();
  place.textContent = "Sending …";
  const reply = await post(path, value);
  place.textContent = reply.sentence;
  asking = false;
  enable();
  return reply;
}

async function showAccount() {
  if (by("session").dataset.planned !== "1") return;
  let account;
  try {
    account = await fetched(`${at}/account`);
  } catch {
    by("headline").textContent = "The account did not arrive. Load the page again.";
    return;
  }
  by("headline").textContent = account.headline;
  by("sentences").replaceChildren(
    ...account.sentences.map((sentence) => {
      const item = document.createElement("li");
      item.textContent = sentence;
      return item;
    }),
  );
}

async function showJobs(all) {
  const mine = all.filter((job) => job.title.endsWith(` of ${session}`));
  jobs.show(mine);
  const now = mine.filter((job) => job.ended).map((job) => job.number);
  const news = ended !== null && now.some((number) => !ended.includes(number));
  ended = now;
  if (news) {
    await refresh("made", "standing");
    enable();
  }
}

by("report")?.addEventListener("click", () => ask(`${at}/report`, {}, by("answer")));

by("pictures")?.addEventListener("submit", (event) => {
  event.preventDefault();
  const fields = by("pictures").elements;
  const work = event.submitter?.value === "inspect" ? "inspect" : "match";
  const pictures = { pictures: fields.pictures.value };
  const sorting = work === "match" ? { by: fields.by.value, link: fields.link.checked } : {};
  ask(`${at}/${work}`, { ...pictures, ...sorting }, by("answer"));
});

by("resume")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const fields = by("resume").elements;
  const reply = await ask(
    `/run/${name}/resume`,
    {
      ...runOptions(fields),
    },
    by("resumed"),
  );
  if (reply.ok) location.assign(`/?session=${name}`);
});

// The part with these buttons is replaced when work ends, so the click is heard above it.
by("session").addEventListener("click", async (event) => {
  const button = event.target.closest("[data-retake]");
  if (button === null) return;
  const reply = await ask(`/run/${name}/tell`, { words: `retake ${button.dataset.retake}` }, by("answer"));
  if (reply.ok) showAccount();
});

document.addEventListener("controls", enable);
showAccount();
start("/jobs/events", { jobs: showJobs });
