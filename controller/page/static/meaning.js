// What a sentence of the run means and what to do, fetched when somebody opens it.

import { fetched } from "./page.js";

export class Meaning {
  constructor(details, place) {
    [this.details, this.place, this.words, this.shown] = [details, place, "", ""];
    details.addEventListener("toggle", () => this.load());
  }

  /** Offers the meaning of this sentence; of none if it is empty. */
  of(words) {
    this.words = words;
    this.details.hidden = words === "";
    this.load();
  }

  async load() {
    const words = this.words;
    if (!this.details.open || words === this.shown) return;
    this.shown = words;
    try {
      const found = await fetched(`/meaning?${new URLSearchParams({ words })}`);
      if (words === this.words) this.place.textContent = found.sentence;
    } catch {
      this.shown = "";
      this.place.textContent = "The explanation did not arrive. Open this again.";
    }
  }
}
