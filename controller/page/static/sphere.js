// The sphere, unrolled: a shape for each frame, filled by what is made of it. Numbers keep their size on the screen.

const SVG = "http://www.w3.org/2000/svg";
const LABEL_PX = 13;
const ZOOMS = [1, 2, 4, 8];

function element(name, attributes, parent) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent.append(made);
  return made;
}

// What a pose shows if its frame is repeated in later passes: the least of them, unless nothing is made at all.
const ORDER = ["suspect", "wanted again", "missing", "begun", "made"];

function together(standings) {
  if (standings.some((one) => one !== "missing") && standings.includes("missing")) {
    return standings.find((one) => one === "suspect" || one === "wanted again") || "begun";
  }
  return ORDER.find((one) => standings.includes(one)) || "missing";
}

export class SphereMap {
  // `box` is a scrolling element; `picked(id)` is called when a frame is chosen.
  constructor(box, picked) {
    this.box = box;
    this.picked = picked;
    this.zoom = 1;
    this.frames = new Map();
    this.passes = new Map();
    this.chosen = null;
    this.svg = element("svg", { viewBox: "-180 -90 360 180", class: "sphere", role: "img", "aria-label": "The sphere, unrolled" }, box);
    this.svg.addEventListener("click", (event) => this.pick(event));
    new ResizeObserver(() => this.label()).observe(box);
  }

  // Draw the map of a plan (see sphere_map.py).
  draw(map) {
    this.svg.replaceChildren();
    this.frames.clear();
    this.passes = new Map(Object.entries(map.passes).map(([id, first]) => [Number(id), first]));
    const patterns = element("defs", {}, this.svg);
    for (const [id, lines] of [["hatch", "M0 4L4 0"], ["cross", "M0 4L4 0M0 0L4 4"]]) {
      const pattern = element("pattern", { id, width: 4, height: 4, patternUnits: "userSpaceOnUse" }, patterns);
      element("path", { d: lines, class: "hatching" }, pattern);
    }
    for (const each of [-60, -30, 0, 30, 60]) element("path", { d: `M-180 ${each}H180`, class: "grid" }, this.svg);
    for (const each of [-90, 0, 90]) element("path", { d: `M${each} -90V90`, class: "grid" }, this.svg);
    for (const d of map.outside) this.copies(d, { class: "outside" }, this.svg);
    for (const shape of map.frames) {
      const group = element("g", { class: "frame missing" }, this.svg);
      this.copies(shape.path, { "fill-rule": "evenodd" }, group);
      this.frames.set(shape.id, { shape, group, standing: "missing" });
    }
    this.numbers = element("g", { class: "numbers" }, this.svg);
    for (const [id, frame] of this.frames) {
      frame.text = element("text", { x: frame.shape.x, y: frame.shape.y }, this.numbers);
      frame.text.textContent = id;
    }
    this.label();
  }

  copies(d, attributes, parent) {
    for (const turn of [-360, 0, 360]) element("path", { d, transform: `translate(${turn} 0)`, ...attributes }, parent);
  }

  // Show the standings of the run's frames.
  show(frames) {
    const poses = new Map();
    let current = null;
    for (const frame of frames) {
      const first = this.first(frame.id);
      poses.set(first, [...(poses.get(first) || []), frame.standing]);
      if (frame.current) current = first;
    }
    let made = 0;
    for (const [id, frame] of this.frames) {
      frame.standing = together(poses.get(id) || ["missing"]);
      if (frame.standing === "made") made += 1;
      const names = ["frame", frame.standing.replace(" ", "-")];
      if (id === current) names.push("current");
      if (id === this.chosen) names.push("chosen");
      frame.group.setAttribute("class", names.join(" "));
      frame.text.setAttribute("class", names.slice(1).join(" "));
    }
    this.svg.setAttribute("aria-label", `The sphere, unrolled: ${made} of ${this.frames.size} frames complete.`);
  }

  first(id) {
    return this.passes.get(id) ?? id;
  }

  choose(id) {
    const before = this.frames.get(this.chosen);
    if (before) for (const each of [before.group, before.text]) each.classList.remove("chosen");
    this.chosen = id;
    const now = this.frames.get(id);
    if (now) for (const each of [now.group, now.text]) each.classList.add("chosen");
  }

  // The frame after (or before) the chosen one.
  step(by) {
    const ids = [...this.frames.keys()].sort((a, b) => a - b);
    const at = ids.indexOf(this.chosen);
    return ids[(at + by + ids.length) % ids.length];
  }

  // Zoom by one step in or out, keeping the middle of the view.
  magnify(by) {
    const at = Math.min(Math.max(ZOOMS.indexOf(this.zoom) + by, 0), ZOOMS.length - 1);
    const box = this.box;
    const middle = [
      (box.scrollLeft + box.clientWidth / 2) / this.svg.clientWidth,
      (box.scrollTop + box.clientHeight / 2) / this.svg.clientHeight,
    ];
    this.zoom = ZOOMS[at];
    this.svg.style.setProperty("width", `${this.zoom * 100}%`);
    box.scrollLeft = middle[0] * this.svg.clientWidth - box.clientWidth / 2;
    box.scrollTop = middle[1] * this.svg.clientHeight - box.clientHeight / 2;
    this.label();
  }

  pick(event) {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    let best = null;
    let nearest = Infinity;
    for (const [id, { shape }] of this.frames) {
      const across = Math.abs(((place.x - shape.x + 540) % 360) - 180) * Math.cos((shape.y * Math.PI) / 180);
      const away = Math.hypot(across, place.y - shape.y);
      if (away < nearest) [best, nearest] = [id, away];
    }
    if (best !== null) this.picked(best);
  }

  // Numbers of one size on the screen; one that would touch another is left out until the drawing is larger.
  label() {
    const scale = 360 / (this.svg.clientWidth || 360);
    const size = LABEL_PX * scale;
    this.svg.style.setProperty("--label", `${size}px`);
    const shown = [];
    for (const [id, { shape, text }] of this.frames) {
      const half = ((String(id).length * 0.62 + 0.5) * size) / 2;
      const x = Math.min(Math.max(shape.x, half - 180), 180 - half); // whole, also at the edge of the drawing
      const free = shown.every(
        (one) => Math.abs(one.x - x) > one.half + half || Math.abs(one.y - shape.y) > size * 1.15,
      );
      text.setAttribute("x", x);
      text.toggleAttribute("hidden", !free);
      if (free) shown.push({ x, y: shape.y, half });
    }
  }
}
