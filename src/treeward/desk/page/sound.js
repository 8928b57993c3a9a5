// The recording: its outline, the notes on it, bees' stays below, and playing.

import { byId } from "./build.js";
import { clockOf } from "./note.js";
import { choose } from "./rows.js";
import { row, store } from "./store.js";

const BEFORE_S = 2.5; // heard before a note begins
const AFTER_S = 2.0; // and after it ends
const NEAR_S = 8; // half of what the close-up shows
const outlines = new Map(); // key -> {bars: Int8Array, count, bin_s, done}
const player = new Audio();
let playing = null; // {key, start_s} of the clip being heard
let cursor = null; // second that was pointed at, for adding a note

export function currentSound() {
  const one = row();
  return one ? store.state.sounds[one.recording] ?? null : null;
}

function middle() {
  const one = row();
  return cursor ?? (one && one.start_s !== null ? one.start_s : 0);
}

// Where a note added now would stand.
export function placeForAdding() {
  const one = row();
  const sound = currentSound();
  if (!sound) return one ? { recording: "", second: null, clock: one.clock } : { recording: "", second: null, clock: "" };
  const second = playing && playing.key === sound.key ? playing.start_s + player.currentTime : middle();
  return { recording: one.recording, second: Math.round(second * 100) / 100, clock: "" };
}

export async function play(longer = false) {
  const one = row();
  const sound = currentSound();
  if (!one || !sound) return;
  if (!player.paused) {
    player.pause();
    playing = null;
    drawSound();
    return;
  }
  const extra = longer ? 8 : 0;
  const from = cursor ?? one.start_s ?? 0;
  const to = cursor ?? one.end_s ?? from;
  await playBetween(sound, from - BEFORE_S - extra, to + AFTER_S + extra);
}

// Plays a stretch of any recording; again: stops.
export async function playAt(recording, from, to) {
  const sound = store.state.sounds[recording];
  if (!sound) return;
  if (!player.paused) {
    player.pause();
    playing = null;
    drawSound();
    return;
  }
  await playBetween(sound, from - BEFORE_S, to + AFTER_S);
}

async function playBetween(sound, from, to) {
  const start_s = Math.max(0, from);
  const end_s = Math.min(to, start_s + 59);
  const answer = await fetch(`/sound/${sound.key}/clip.wav?start=${start_s.toFixed(3)}&end=${end_s.toFixed(3)}`);
  if (!answer.ok) {
    store.fault = (await answer.json()).fault;
    return;
  }
  if (player.src) URL.revokeObjectURL(player.src);
  player.src = URL.createObjectURL(await answer.blob());
  playing = { key: sound.key, start_s };
  await player.play();
  requestAnimationFrame(follow);
}

function follow() {
  drawSound();
  if (playing && !player.paused && !player.ended) requestAnimationFrame(follow);
  else if (player.ended) { playing = null; drawSound(); }
}

async function fetchOutline(key) {
  const outline = { bars: new Int8Array(0), count: 0, bin_s: 0.02, done: false, fault: "", peak: 1 };
  outlines.set(key, outline);
  while (!outline.done) {
    let answer;
    try {
      answer = await fetch(`/sound/${key}/outline?from=${outline.count}`);
    } catch {
      return;
    }
    if (!answer.ok) return;
    const more = new Int8Array(await answer.arrayBuffer());
    const joined = new Int8Array(2 * outline.count + more.length);
    joined.set(outline.bars.subarray(0, 2 * outline.count));
    joined.set(more, 2 * outline.count);
    outline.bars = joined;
    outline.count = joined.length / 2;
    outline.bin_s = Number(answer.headers.get("x-bin-seconds"));
    outline.fault = answer.headers.get("x-fault") ?? "";
    for (const value of more) outline.peak = Math.max(outline.peak, Math.abs(value));
    outline.done = answer.headers.get("x-done") === "1";
    drawSound();
    if (!outline.done) await new Promise((resolve) => setTimeout(resolve, 300));
  }
}

function colours() {
  const style = getComputedStyle(document.documentElement);
  return (name) => style.getPropertyValue(name).trim();
}

function fitted(canvas) {
  const box = canvas.getBoundingClientRect();
  const ratio = window.devicePixelRatio || 1;
  const width = Math.max(1, Math.round(box.width * ratio));
  const height = Math.max(1, Math.round(box.height * ratio));
  if (canvas.width !== width || canvas.height !== height) { canvas.width = width; canvas.height = height; }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, box.width, box.height);
  return { pen, width: box.width, height: box.height };
}

function bars(pen, outline, from_s, to_s, width, top, height, colour) {
  if (!outline.count) return;
  pen.fillStyle = colour;
  const scale = height / 2 / outline.peak;
  const centre = top + height / 2;
  const perPixel = (to_s - from_s) / width / outline.bin_s;
  for (let x = 0; x < width; x += 1) {
    const first = Math.floor(from_s / outline.bin_s + x * perPixel);
    const last = Math.min(outline.count, Math.max(first + 1, Math.floor(from_s / outline.bin_s + (x + 1) * perPixel)));
    let low = 0;
    let high = 0;
    for (let bin = Math.max(0, first); bin < last; bin += 1) {
      low = Math.min(low, outline.bars[2 * bin]);
      high = Math.max(high, outline.bars[2 * bin + 1]);
    }
    if (last > Math.max(0, first)) pen.fillRect(x, centre - high * scale, 1, Math.max(1, (high - low) * scale));
  }
}

function sign(pen, one, x, y, colour) {
  pen.fillStyle = pen.strokeStyle = colour(one.status === "look" ? "--look" : one.status === "dropped" ? "--muted" : ["plain"].includes(one.status) ? "--ink" : "--good");
  pen.lineWidth = 2;
  pen.beginPath();
  if (one.status === "look") {
    pen.moveTo(x, y - 5); pen.lineTo(x + 5, y); pen.lineTo(x, y + 5); pen.lineTo(x - 5, y); pen.fill();
  } else if (one.status === "dropped") {
    pen.moveTo(x - 4, y + 4); pen.lineTo(x + 4, y - 4); pen.stroke();
  } else if (one.status === "plain") pen.fillRect(x - 1, y - 5, 2, 10);
  else { pen.arc(x, y, 3.5, 0, 7); pen.stroke(); }
}

// A lane for each bee: a bar while she is at the station, a thin line while she is away.
function lanes(pen, rows, length_s, width, top, height, colour) {
  const at = new Map(rows.map((one) => [one.row, one]));
  const spans = [];
  for (const visit of store.state.trips.visits ?? []) {
    if (at.has(visit.back_row) && at.has(visit.away_row)) {
      spans.push({ name: visit.bee, paint: visit.paint, used: visit.used, from: visit.back_row, to: visit.away_row, here: true });
    }
  }
  for (const bee of store.state.trips.bees ?? []) {
    for (const trip of bee.trips) {
      if (at.has(trip.away_row) && at.has(trip.back_row)) {
        spans.push({ name: bee.bee, paint: bee.paint, used: trip.used, from: trip.away_row, to: trip.back_row, here: false });
      }
    }
  }
  const names = [...new Set(spans.map((span) => span.name))].sort();
  if (!names.length) return;
  const lane = Math.min(16, height / names.length);
  const tall = Math.max(3, lane * 0.55);
  pen.font = `${Math.max(9, Math.min(11, lane - 2))}px system-ui, sans-serif`;
  pen.textBaseline = "middle";
  for (const span of spans) {
    const y = top + (names.indexOf(span.name) + 0.5) * lane;
    const x = (at.get(span.from).start_s / length_s) * width;
    const wide = Math.max(3, (at.get(span.to).start_s / length_s) * width - x);
    if (!span.here) {
      pen.strokeStyle = colour(span.used ? "--ink" : "--muted");
      pen.setLineDash(span.used ? [] : [3, 3]);
      pen.lineWidth = 1;
      pen.beginPath();
      pen.moveTo(x, y);
      pen.lineTo(x + wide, y);
      pen.stroke();
      pen.setLineDash([]);
      continue;
    }
    pen.fillStyle = span.paint[0];
    pen.fillRect(x, y - tall / 2, wide, tall);
    if (span.paint[1] !== span.paint[0]) {
      pen.fillStyle = span.paint[1];
      pen.fillRect(x, y, wide, tall / 2);
    }
    pen.strokeStyle = colour("--ink");
    pen.lineWidth = 1;
    pen.setLineDash(span.used ? [] : [2, 2]);
    pen.strokeRect(x, y - tall / 2, wide, tall);
    pen.setLineDash([]);
  }
  names.forEach((name, index) => {
    const text = name || "no mark";
    const y = top + (index + 0.5) * lane;
    pen.fillStyle = colour("--card");
    pen.fillRect(0, y - lane / 2 + 1, pen.measureText(text).width + 8, lane - 2);
    pen.fillStyle = colour("--muted");
    pen.fillText(text, 4, y);
  });
}

function heardIn(recording) {
  return store.state.rows.filter((one) => one.recording === recording && one.start_s !== null);
}

function lengthOf(sound, outline, rows) {
  return Math.max(sound.duration_s ?? 0, outline?.done ? outline.count * outline.bin_s : 0, ...rows.map((one) => one.end_s ?? 0), 1);
}

let lastRow = null;
export function drawSound() {
  const one = row();
  if (!one) return;
  if (lastRow !== one.row) { lastRow = one.row; cursor = null; }
  const sound = currentSound();
  for (const id of ["whole", "near"]) byId(id).hidden = !sound;
  byId("no-sound").hidden = Boolean(sound);
  byId("play").disabled = !sound;
  byId("play").setAttribute("aria-pressed", String(playing !== null && !player.paused));
  byId("sound-name").textContent = one.recording || "";
  if (!sound) {
    const name = one.recording || "";
    byId("no-sound").textContent = !name || one.start_s === null
      ? "This note was typed by hand; there is no sound to it."
      : /\.(vtt|srt|json)$/i.test(name)
        ? `This note is from the transcript ${name}; there is no sound to it.`
        : `There is no sound named ${name} in the hunt's recordings folder.`;
    return;
  }
  if (!outlines.has(sound.key)) fetchOutline(sound.key);
  const outline = outlines.get(sound.key);
  const rows = heardIn(one.recording);
  const length_s = lengthOf(sound, outline, rows);
  byId("sound-name").textContent = `${one.recording}, ${clockOf(length_s)}${outline.fault ? ` – ${outline.fault}` : ""}`;
  drawWhole(outline, rows, length_s, one);
  drawNear(outline, rows, one);
}

function drawWhole(outline, rows, length_s, one) {
  const { pen, width, height } = fitted(byId("whole"));
  const colour = colours();
  const wave = height * 0.34;
  bars(pen, outline, 0, length_s, width, 2, wave, colour("--wave-far"));
  lanes(pen, rows, length_s, width, wave + 20, height - wave - 22, colour);
  const x = (middle() / length_s) * width;
  pen.fillStyle = colour("--heath");
  pen.fillRect(x - 1, 0, 2, height);
  for (const other of [...rows].sort((a, b) => (a.status === "look") - (b.status === "look"))) {
    sign(pen, other, (other.start_s / length_s) * width, wave + 10, colour);
  }
  byId("whole").setAttribute("aria-label",
    `The whole recording, ${clockOf(length_s)}; ${rows.length} notes, ${rows.filter((other) => other.status === "look").length} to look at. The note ${one.said} is at ${clockOf(one.start_s ?? 0)}.`);
}

function drawNear(outline, rows, one) {
  const { pen, width, height } = fitted(byId("near"));
  const colour = colours();
  const from_s = middle() - NEAR_S;
  const to_s = middle() + NEAR_S;
  const place = (second) => ((second - from_s) / (to_s - from_s)) * width;
  const top = 40;
  pen.font = "13px system-ui, sans-serif";
  pen.textBaseline = "top";
  if (one.start_s !== null) {
    pen.fillStyle = colour("--heath-soft");
    pen.fillRect(place(one.start_s), 0, Math.max(3, place(one.end_s ?? one.start_s) - place(one.start_s)), height);
  }
  bars(pen, outline, from_s, to_s, width, top, height - top - 18, colour("--wave"));
  pen.fillStyle = colour("--muted");
  for (let second = Math.ceil(Math.max(0, from_s) / 2) * 2; second < to_s; second += 2) {
    pen.fillRect(place(second), height - 16, 1, 4);
    const written = clockOf(second);
    if (place(second) + 3 + pen.measureText(written).width < width) {
      pen.fillText(written, place(second) + 3, height - 16);
    }
  }
  const ends = [-Infinity, -Infinity]; // where the words of two lines end
  for (const other of rows.filter((each) => each.start_s > from_s - 3 && each.start_s < to_s)) {
    const text = other.said || "?";
    const wide = pen.measureText(text).width;
    // Words that would run off the right edge begin before their line.
    const x = Math.max(4, Math.min(place(other.start_s), width - wide - 23));
    const line = ends.findIndex((end) => x > end);
    pen.fillStyle = other.row === one.row ? colour("--heath") : colour("--rule");
    pen.fillRect(place(other.start_s), 0, 2, height - 18);
    if (line < 0 && other.row !== one.row) continue;
    const y = Math.max(0, line) * 17;
    sign(pen, other, x + 9, y + 12, colour);
    pen.fillStyle = other.status === "dropped" ? colour("--muted") : colour("--ink");
    pen.fillText(text, x + 19, y + 5);
    ends[Math.max(0, line)] = x + 24 + wide;
  }
  if (cursor !== null) {
    pen.strokeStyle = colour("--heath");
    pen.setLineDash([4, 3]);
    pen.strokeRect(place(cursor), 0, 0.5, height);
    pen.setLineDash([]);
  }
  if (playing) {
    pen.fillStyle = colour("--head");
    pen.fillRect(place(playing.start_s + player.currentTime) - 1, 0, 2, height);
  }
  const here = rows.filter((each) => each.start_s > from_s && each.start_s < to_s).map((each) => each.said);
  byId("near").setAttribute("aria-label", `The sixteen seconds around the note; notes in them: ${here.join(", ") || "none"}.`);
}

export function beginSound() {
  byId("whole").addEventListener("click", (event) => {
    const sound = currentSound();
    if (!sound) return;
    const rows = heardIn(row().recording);
    const length_s = lengthOf(sound, outlines.get(sound.key), rows);
    const box = byId("whole").getBoundingClientRect();
    const second = ((event.clientX - box.left) / box.width) * length_s;
    const nearest = rows.reduce((best, one) =>
      Math.abs(one.start_s - second) < Math.abs(best.start_s - second) ? one : best, rows[0]);
    if (nearest) choose(nearest.row);
  });
  byId("near").addEventListener("click", (event) => {
    const box = byId("near").getBoundingClientRect();
    cursor = Math.max(0, middle() - NEAR_S + ((event.clientX - box.left) / box.width) * 2 * NEAR_S);
    drawSound();
  });
  window.addEventListener("resize", drawSound);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawSound);
}

// Moves the place where a note would be added or playing begins.
export function moveCursor(seconds) {
  if (!currentSound()) return;
  cursor = Math.max(0, middle() + seconds);
  drawSound();
}

