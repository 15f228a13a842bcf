// The curves of a run: five plots with one axis of time. uPlot draws them; zooming, moving and the bars are ours.
const S = data.samples, E = data.exposures, get = id => document.getElementById(id), plots = get("plots");
const END = Math.max(1, S.length ? S[S.length - 1][0] : 1), LEAST = 0.02; // seconds
const T = S.map(s => s[0]);
const style = getComputedStyle(document.documentElement), token = name => style.getPropertyValue(name).trim();
for (const e of E) {
  const yaw = ((e.yaw_deg - e.planned_yaw_deg + 180) % 360 + 360) % 360 - 180;
  e.off = Math.hypot(yaw * Math.cos(e.planned_pitch_deg * Math.PI / 180), e.pitch_deg - e.planned_pitch_deg);
}
const worst = [...E].sort((p, q) => (q.motion_px - p.motion_px) || (q.off - p.off));
const column = k => S.map(s => s[k]), less = (a, b) => S.map(s => s[a] - s[b]);
// Told apart by dashes as well: in the red look all colours have one hue.
const TOLD = { colour: "--series-1", dash: [] }, TILT = { colour: "--series-3", dash: [6, 4] }, TRUE = { colour: "--series-2", dash: [2, 3] }, GAP = { colour: "--series-6", dash: [] };
const PANELS = [
  { name: "Speed, °/s", lines: [["pan", column(5), TOLD], ["tilt", column(6), TILT]] },
  { name: "Yaw °", lines: [["told", column(1), TOLD], ["truly", column(3), TRUE]] },
  { name: "Pitch °", lines: [["told", column(2), TOLD], ["truly", column(4), TRUE]] },
  { name: "True less told, yaw °", lines: [["", less(3, 1), GAP]] },
  { name: "True less told, pitch °", lines: [["", less(4, 2), GAP]] },
];
let from = 0, to = END, charts = [];

// As many decimals as tell two neighbours on an axis apart.
function decimals(step) { return Math.min(9, Math.max(0, -Math.floor(Math.log10(step) + 1e-9))); }
function texts(unit) { return (_, splits, axis, space, step) => splits.map(v => v.toFixed(decimals(step)) + unit); }
function padded(_, low, high) {
  if (low === null || high === null) return [-1, 1];
  const pad = high > low ? (high - low) * 0.08 : 0.01;
  return [low - pad, high + pad];
}
// Bars where the shutter was open; striped where the picture moved. At least 2 px wide, so that none is lost.
function bars(u) {
  const c = u.ctx, { left, top, width, height } = u.bbox, px = devicePixelRatio;
  c.save(); c.beginPath(); c.rect(left, top, width, height); c.clip();
  for (const e of E) {
    if (e.t_s + e.shutter_s < from || e.t_s > to) continue;
    const x = u.valToPos(e.t_s, "x", true), wide = Math.max(2 * px, u.valToPos(e.t_s + e.shutter_s, "x", true) - x);
    c.fillStyle = token("--shut"); c.fillRect(x, top, wide, height);
    if (e.still) continue;
    c.save(); c.beginPath(); c.rect(x, top, wide, height); c.clip();
    c.strokeStyle = token("--open"); c.lineWidth = 1.5 * px; c.setLineDash([]); c.beginPath();
    // Stripes only where they can be seen: zoomed in, a bar is far wider than the plot.
    const first = Math.max(x, left) - height, last = Math.min(x + wide, left + width);
    for (let s = first - first % (9 * px); s < last; s += 9 * px) { c.moveTo(s, top + height); c.lineTo(s + height, top); }
    c.stroke(); c.restore();
  }
  c.restore();
}
function make(panel, i) {
  const last = i === PANELS.length - 1, axis = { stroke: () => token("--soft"), font: "12px system-ui, sans-serif" };
  const grid = { stroke: () => token("--line"), width: 1 }, ticks = { show: false };
  const heading = document.createElement("h3"); heading.textContent = panel.name; plots.append(heading);
  return new uPlot({
    ...size(last),
    legend: { show: false },
    padding: [6, 18, last ? 0 : 6, 0],
    cursor: { sync: { key: "run" }, drag: { x: false, y: false }, y: false, points: { size: 6 } },
    scales: { x: { time: false, range: () => [from, to] }, y: { range: padded } },
    axes: [
      { ...axis, grid, ticks, space: 72, size: last ? 28 : 0, values: last ? texts(" s") : () => [] },
      { ...axis, grid, ticks, space: 26, size: 58, gap: 4, values: texts("") },
    ],
    series: [{}, ...panel.lines.map(([, , line]) => ({
      stroke: () => token(line.colour), width: 1.4, dash: line.dash, points: { show: false },
    }))],
    hooks: { drawClear: [bars], setCursor: [read] },
  }, [T, ...panel.lines.map(line => line[1])], plots);
}
function size(last) { return { width: Math.max(200, plots.clientWidth - 10), height: (matchMedia("(max-width: 40rem)").matches ? 118 : 132) + (last ? 28 : 0) }; }

function show(a, b) {
  const span = Math.min(END, Math.max(LEAST, b - a)), middle = (a + b) / 2;
  from = Math.min(Math.max(0, middle - span / 2), END - span); to = from + span;
  for (const u of charts) u.setScale("x", { min: from, max: to });
}
// A zoom about a time keeps that time in its place.
function zoom(by, t = (from + to) / 2) {
  const span = Math.min(END, Math.max(LEAST, (to - from) * by)), share = (t - from) / (to - from);
  show(t - span * share, t + span * (1 - share));
}
function move(seconds) { show(from + seconds, to + seconds); }
function named(e) { return e.repeats === undefined ? e.frame : `${e.frame} (pass ${e.pass} of ${e.repeats})`; }
function go(e) {
  show(e.t_s - 1.5, e.t_s + e.shutter_s + 0.5);
  get("seen").textContent = `Frame ${named(e)}, exposure ${e.exposure}: ${e.motion_px} px of motion at most, ${e.off.toFixed(3)}° from where it was planned.`;
}
// What is under the pointer, in words.
function read(u) {
  const i = u.cursor.idx;
  if (u !== charts[0] || i === null || i === undefined || u.cursor.left < 0) return;
  const s = S[i], open = E.find(e => T[i] >= e.t_s && T[i] <= e.t_s + e.shutter_s), deg = v => v.toFixed(3) + "°";
  get("seen").textContent = `${s[0].toFixed(3)} s: yaw ${deg(s[3])}, told ${deg(s[1])}; pitch ${deg(s[4])}, told ${deg(s[2])}; `
    + `pan ${s[5].toFixed(2)} °/s, tilt ${s[6].toFixed(2)} °/s` + (open ? `; shutter open for frame ${named(open)}.` : ".");
}
// The time under a point of the screen.
function time(x) { const u = charts[0], box = u.over.getBoundingClientRect(); return from + (x - box.left) / box.width * (to - from); }
function secondsPerPx() { return (to - from) / charts[0].over.getBoundingClientRect().width; }

plots.addEventListener("wheel", event => { event.preventDefault(); zoom(Math.exp(event.deltaY * 0.002), time(event.clientX)); }, { passive: false });
// One finger or the mouse moves, two fingers zoom. Up and down still scroll the page (touch-action: pan-y).
const down = new Map();
plots.addEventListener("pointerdown", event => { if (!event.button) { down.set(event.pointerId, event.clientX); plots.setPointerCapture(event.pointerId); } });
plots.addEventListener("pointermove", event => {
  const was = down.get(event.pointerId), now = event.clientX; if (was === undefined) return;
  const other = [...down].find(([id]) => id !== event.pointerId);
  if (other) {
    const apart = x => Math.max(20, Math.abs(x - other[1])), middle = time((was + other[1]) / 2);
    zoom(apart(was) / apart(now), middle);
    move((was - now) / 2 * secondsPerPx());
  } else move((was - now) * secondsPerPx());
  down.set(event.pointerId, now);
});
for (const name of ["pointerup", "pointercancel"]) plots.addEventListener(name, event => down.delete(event.pointerId));
const KEYS = {
  ArrowLeft: () => move((from - to) / 8), ArrowRight: () => move((to - from) / 8), "+": () => zoom(1 / 1.5), "=": () => zoom(1 / 1.5),
  "-": () => zoom(1.5), "0": () => show(0, END), w: () => worst.length && go(worst[0]),
};
plots.addEventListener("keydown", event => {
  const act = KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (act && !event.ctrlKey && !event.metaKey && !event.altKey) { event.preventDefault(); act(); }
});
get("all").onclick = KEYS["0"]; get("worst").onclick = KEYS.w; get("closer").onclick = KEYS["+"]; get("farther").onclick = KEYS["-"];

for (const e of worst.slice(0, 50)) {
  const row = get("rows").insertRow(), button = document.createElement("button");
  button.type = "button"; button.textContent = named(e); button.setAttribute("aria-label", `Show frame ${named(e)}, exposure ${e.exposure}`);
  row.insertCell().append(button);
  for (const v of [e.exposure, e.t_s.toFixed(2), e.shutter_s.toPrecision(3), e.motion_px + (e.still ? "" : " moved"), e.off.toFixed(3)]) row.insertCell().textContent = v;
  if (!e.still) row.className = "bad";
  row.onclick = () => { go(e); plots.scrollIntoView({ block: "center" }); };
}
charts = PANELS.map(make);
document.addEventListener("look", () => { for (const u of charts) u.redraw(false, true); });
new ResizeObserver(() => charts.forEach((u, i) => u.setSize(size(i === charts.length - 1)))).observe(plots);
