// The pad: the head turns while an arm is held down. Whatever ends the touch, or hides the page, lets go.
import { send } from "./head-link.js";

const RENEW_MS = 100;
const KEYS = { ArrowRight: "right", ArrowLeft: "left", ArrowUp: "up", ArrowDown: "down" };

let press = 0;
let touch = null; // the arm that is held down, its timer and the number of its renewals

function renew() {
  if (touch === null || touch.waiting) return; // only the newest counts: none queues behind another
  const mine = touch;
  mine.number += 1;
  mine.waiting = true;
  const { pan, tilt } = mine.arm.dataset;
  const speed = Number(document.querySelector('input[name="speed"]:checked').value);
  mine.speed ??= speed;
  const lease = { press: mine.press, number: mine.number, pan: Number(pan), tilt: Number(tilt), speed: mine.speed };
  send({ lease }).then((answer) => {
    mine.waiting = false;
    if (!answer.ok && touch === mine) letGo();
  });
}

function hold(arm, by) {
  if (touch !== null || arm.disabled || document.hidden) return;
  press += 1;
  touch = { arm, by, press, number: 0, waiting: false, timer: setInterval(renew, RENEW_MS) };
  arm.setAttribute("aria-pressed", "true");
  navigator.vibrate?.(20);
  renew();
}

/** Lifts the finger: the head is stopped. */
export function letGo() {
  if (touch === null) return;
  const { arm, timer, press: over } = touch;
  touch = null;
  clearInterval(timer);
  arm.setAttribute("aria-pressed", "false");
  send({ release: over });
}

/** Begins to count presses from one, as each conversation does. */
export function begin() {
  letGo();
  press = 0;
}

/** Makes the arms of a pad work. */
export function bind(pad) {
  const arms = [...pad.querySelectorAll("[data-arm]")];
  for (const arm of arms) {
    arm.addEventListener("pointerdown", (event) => {
      if (!event.isPrimary || event.button !== 0) return;
      event.preventDefault();
      arm.focus();
      arm.setPointerCapture(event.pointerId);
      hold(arm, event.pointerId);
    });
    for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) arm.addEventListener(end, letGo);
    arm.addEventListener("contextmenu", (event) => event.preventDefault());
  }
  pad.addEventListener("keydown", (event) => {
    const named = KEYS[event.key] ?? (event.key === " " || event.key === "Enter" ? event.target.dataset.arm : undefined);
    const arm = arms.find((each) => each.dataset.arm === named);
    if (arm === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    if (!event.repeat) hold(arm, event.key);
  });
  pad.addEventListener("keyup", (event) => {
    if (touch !== null && touch.by === event.key) letGo();
  });
  pad.addEventListener("focusout", letGo);
  for (const name of ["blur", "pagehide", "offline"]) addEventListener(name, letGo);
  document.addEventListener("visibilitychange", letGo);
  document.addEventListener("freeze", letGo);
  document.addEventListener("controls", letGo);
}
