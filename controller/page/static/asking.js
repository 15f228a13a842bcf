// Questions: shown with the run's own words. A tap that was meant for something else cannot answer one.

const READ_MS = 600;

export class Questions {
  // `card` holds the words and the buttons; `answered(number, yes)` returns a promise of what came of it.
  constructor(card, answered) {
    this.card = card;
    this.words = card.querySelector("[data-words]");
    this.buttons = [...card.querySelectorAll("button[data-answer]")];
    this.number = null;
    for (const button of this.buttons) {
      button.addEventListener("click", async () => {
        const { number } = this;
        this.enable(false);
        await answered(number, button.dataset.answer === "yes");
        if (this.number === number) this.enable(this.allowed);
      });
    }
  }

  // Show the open question (null: none). Returns whether it is a new one.
  show(question, allowed) {
    this.allowed = allowed;
    if (question === null) {
      this.number = null;
      this.card.hidden = true;
      return false;
    }
    if (question.number === this.number) {
      if (!this.waiting) this.enable(allowed);
      return false;
    }
    this.number = question.number;
    this.words.textContent = question.words;
    this.enable(false);
    this.card.hidden = false;
    this.waiting = true;
    clearTimeout(this.timer); // of the question before: it must not wake the buttons of this one
    this.timer = setTimeout(() => {
      this.waiting = false;
      if (this.number === question.number) this.enable(this.allowed);
    }, READ_MS);
    return true;
  }

  enable(on) {
    for (const button of this.buttons) button.disabled = !on;
  }
}
