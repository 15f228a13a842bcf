// Calling for attention: sound, vibration and notices, as far as the browser grants them.

const KEY = "fullturn-sound";
const TONES = { question: [660, 880], fault: [880, 660, 880, 660], end: [523, 659, 784] };
const TONE_S = 0.18;

function remembered() {
  try {
    return localStorage.getItem(KEY) === "on";
  } catch {
    return false;
  }
}

export class Caller {
  constructor(button) {
    this.button = button;
    this.on = false;
    button.addEventListener("click", () => this.turn(!this.on));
    this.mark();
    // A browser plays sound only after a touch: sound that was on before starts with the first one.
    if (remembered()) document.addEventListener("pointerdown", () => this.on || this.turn(true), { once: true });
  }

  async turn(on) {
    this.on = on;
    try {
      localStorage.setItem(KEY, on ? "on" : "off");
    } catch {
      // Not kept; it works all the same.
    }
    if (on) {
      this.sound ??= new AudioContext();
      await this.sound.resume();
      if (window.isSecureContext && "Notification" in window && Notification.permission === "default") {
        Notification.requestPermission();
      }
      this.play([660]);
    }
    this.mark();
  }

  mark() {
    this.button.setAttribute("aria-pressed", String(this.on));
    this.button.textContent = this.on ? "Sound is on" : "Sound is off";
  }

  // `kind` is question, fault or end.
  call(kind, words) {
    // Before the first touch a browser refuses to vibrate, and complains.
    if (navigator.userActivation?.hasBeenActive ?? true) navigator.vibrate?.([300, 150, 300]);
    if (this.on) this.play(TONES[kind]);
    if (document.hidden && window.isSecureContext && "Notification" in window && Notification.permission === "granted") {
      try {
        new Notification("Fullturn", { body: words, tag: kind });
      } catch {
        // Some phones allow notices to installed pages only.
      }
    }
  }

  play(tones) {
    if (!this.sound) return;
    tones.forEach((pitch, number) => {
      const tone = this.sound.createOscillator();
      const volume = this.sound.createGain();
      const at = this.sound.currentTime + number * TONE_S;
      tone.frequency.value = pitch;
      volume.gain.setValueAtTime(0.3, at);
      volume.gain.exponentialRampToValueAtTime(0.01, at + TONE_S);
      tone.connect(volume).connect(this.sound.destination);
      tone.start(at);
      tone.stop(at + TONE_S);
    });
  }
}

// Keep the screen awake while `wanted()` is true, if the browser may. Returns whether it can be asked at all.
export function keepAwake(wanted) {
  if (!("wakeLock" in navigator)) return false;
  let lock = null;
  const ask = async () => {
    if (document.hidden || !wanted() || (lock && !lock.released)) return;
    try {
      lock = await navigator.wakeLock.request("screen");
    } catch {
      lock = null; // a low battery, for example
    }
  };
  document.addEventListener("visibilitychange", ask);
  setInterval(ask, 10_000);
  ask();
  return true;
}
