// Lines that were said and made no note, below the note: to be heard, and made into notes.

import { openAdding } from "./adding.js";
import { byId, make } from "./build.js";
import { choose } from "./rows.js";
import { playAt } from "./sound.js";
import { ask, changed, edit, row, store } from "./store.js";

const FEW = 6; // shown at first
let all = false;

// Those of the note's recording first, the nearest in time before the others.
function inOrder() {
  const one = row();
  const apart = (line) => (one && line.recording === one.recording && one.start_s !== null
    ? Math.abs(line.start_s - one.start_s) : Infinity);
  return [...(store.state?.lines ?? [])].sort((a, b) => apart(a) - apart(b));
}

let shown = "";
export function drawLines() {
  const lines = inOrder();
  byId("lines-box").hidden = !lines.length;
  const few = all ? lines : lines.slice(0, FEW);
  const key = JSON.stringify(few);
  byId("lines-title").textContent = lines.length === 1 ? "1 line without a note" : `${lines.length} lines without a note`;
  byId("lines-more").hidden = all || lines.length <= FEW;
  if (key === shown) return;
  shown = key;
  byId("lines").replaceChildren(...few.map((line, index) => make("li", {},
    make("p", { className: "words" }, `“${line.text}”`),
    make("p", { className: "help" }, `${line.recording} at ${clockOf(line.start_s)}`),
    make("div", { className: "deeds" },
      store.state.sounds[line.recording] ? make("button", { type: "button", on: { click: () => playAt(line.recording, line.start_s, line.end_s) } }, "Play") : "",
      make("button", { type: "button", className: "make-note", on: { click: () => makeNote(line) } },
        "Make a note", index === 0 ? make("kbd", {}, "o") : "")))));
}

function clockOf(seconds) {
  const whole = Math.floor(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

// A line that says one note becomes it; any other is given to be written as one.
async function makeNote(line) {
  let cells;
  try {
    ({ cells } = await ask("/api/read", { text: line.text.slice(0, 200) }));
  } catch {
    openAdding({ recording: line.recording, second: line.start_s, clock: "", text: line.text });
    return;
  }
  try {
    const told = await edit([{ kind: "add", cells: {
      ...cells, recording: line.recording, start_s: String(line.start_s), end_s: String(line.end_s),
    } }]);
    store.which = "all";
    document.querySelector('input[name="which"][value="all"]').checked = true;
    choose(told.added[0], { focus: true });
  } catch (error) {
    store.fault = error.message;
    changed();
  }
}

export function makeNearest() {
  const [line] = inOrder();
  if (line) makeNote(line);
}

export function beginLines() {
  byId("lines-more").addEventListener("click", () => { all = true; changed(); });
}
