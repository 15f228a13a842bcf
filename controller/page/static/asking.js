// Questions, in the program's own words. A tap that was meant for something else cannot answer one.

const READ_MS = 600;
const WORDS = { yes: "Yes", no: "No", ready: "Ready" };

export class Questions {
  // `card` is that of question.html; `answered(question, answer)` returns a promise of what came of it.
  constructor(card, answered) {
    this.card = card;
    this.answered = answered;
    this.words = card.querySelector("[data-words]");
    this.row = card.querySelector("[data-answers]");
    this.elsewhere = card.querySelector("[data-elsewhere]");
    this.question = null;
    this.timer = null;
  }

  // Show the open question (null: none): `id` tells it from all others, `answers` are names in WORDS.
  // Returns whether it is a new one.
  show(question, allowed) {
    const isNew = question !== null && question.id !== this.question?.id;
    this.allowed = allowed;
    if (question === null || isNew) {
      clearTimeout(this.timer); // that of an earlier question must not let this one be answered too soon
      this.question = question;
      this.busy = isNew;
      this.card.hidden = question === null;
    }
    if (isNew) {
      this.row.replaceChildren(...question.answers.map((answer) => this.button(question, answer)));
      this.words.textContent = question.words;
      this.timer = setTimeout(() => this.free(question), READ_MS);
    }
    this.enable();
    return isNew;
  }

  button(question, answer) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = WORDS[answer];
    made.addEventListener("click", async () => {
      this.busy = true;
      this.enable();
      await this.answered(question, answer);
      this.free(question);
    });
    return made;
  }

  // Let this question be answered, if it is still the open one.
  free(question) {
    if (this.question?.id !== question.id) return;
    this.busy = false;
    this.enable();
  }

  enable() {
    this.elsewhere.hidden = this.allowed;
    for (const button of this.row.children) button.disabled = this.busy || !this.allowed;
  }
}
