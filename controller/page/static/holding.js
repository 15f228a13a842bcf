// A button that acts only after it was held for a second, by finger, pointer or key.

const HOLD_MS = 1000;

export function onHold(button, act) {
  let timer = null;
  const stop = () => {
    clearTimeout(timer);
    timer = null;
    button.classList.remove("held");
  };
  const start = () => {
    if (timer !== null || button.disabled) return;
    button.classList.add("held");
    timer = setTimeout(() => {
      stop();
      navigator.vibrate?.(80);
      act();
    }, HOLD_MS);
  };
  button.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    button.setPointerCapture(event.pointerId);
    start();
  });
  for (const name of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) button.addEventListener(name, stop);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  button.addEventListener("keydown", (event) => {
    if (event.repeat || (event.key !== " " && event.key !== "Enter")) return;
    event.preventDefault();
    start();
  });
  button.addEventListener("keyup", stop);
}
