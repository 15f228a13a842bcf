// Work under way beside the page: its progress, and what it has made.

export class JobList {
  // `made(job)` gives [label, address] of what a job has made, or null.
  constructor(box, made = () => null) {
    this.box = box;
    this.made = made;
    box.setAttribute("role", "status");
  }

  show(jobs) {
    this.box.replaceChildren(
      ...jobs.map((job) => {
        const card = document.createElement("section");
        card.className = "notice";
        const words = document.createElement("p");
        const done = job.status === 0 || job.answered;
        const ending = done ? "done" : "ended early";
        words.textContent = job.ended ? `${job.title}: ${ending}.` : `${job.title}: under way. ${job.line}`;
        card.append(words);
        if (job.ended && !done && job.sentences.length) {
          const why = document.createElement("p");
          why.textContent = job.sentences.at(-1);
          card.append(why);
        }
        const link = job.ended ? this.made(job) : null;
        if (link !== null) {
          const anchor = document.createElement("a");
          anchor.className = "button";
          [anchor.textContent, anchor.href] = link;
          card.append(anchor);
        }
        return card;
      }),
    );
  }
}
