// Lines that were said or typed and made no note, below the note: to be heard, made into
// notes, or dismissed.

import { openAdding } from "./adding.js";
import { byId, make } from "./build.js";
import { choose, focusRow } from "./rows.js";
import { playAt } from "./sound.js";
import { ask, changed, edit, row, showAll, store } from "./store.js";

const FEW = 6; // shown at first
let all = false;

// Those of the note's recording first, the nearest in time before the others.
function inOrder() {
  const one = row();
  const apart = (line) => (one && line.recording === one.recording && one.start_s !== null && line.start_s !== null
    ? Math.abs(line.start_s - one.start_s) : Infinity);
  return [...(store.state?.lines ?? [])].sort((a, b) => (apart(a) - apart(b)) || 0); // not of two endless
}

let shown = "";
export function drawLines() {
  const lines = inOrder();
  const dismissed = store.state?.dismissed ?? [];
  byId("lines-box").hidden = !lines.length && !dismissed.length;
  const few = all ? lines : lines.slice(0, FEW);
  const key = JSON.stringify([few, dismissed]);
  byId("lines-title").textContent = title(lines.length);
  byId("lines-help").hidden = !lines.length;
  byId("lines-more").hidden = all || lines.length <= FEW;
  if (key === shown) return;
  shown = key;
  const at = placeOfFocus();
  byId("lines").replaceChildren(...few.map((line, index) => item(line,
    make("button", { type: "button", className: "make-note", "aria-label": `Make a note of: ${line.text}`, on: { click: () => makeNote(line) } },
      "Make a note ", index === 0 ? make("kbd", {}, "o") : ""),
    make("button", { type: "button", className: "dismiss", "aria-label": `Nothing in it: ${line.text}`, on: { click: () => judge(line, true) } },
      "Nothing in it ", index === 0 ? make("kbd", {}, "x") : ""))));
  byId("dismissed-box").hidden = !dismissed.length;
  byId("dismissed-title").textContent = `${dismissed.length} with nothing in ${dismissed.length === 1 ? "it" : "them"}`;
  byId("dismissed").replaceChildren(...dismissed.map((line) => item(line,
    make("button", { type: "button", className: "bring-back", "aria-label": `Bring back: ${line.text}`, on: { click: () => judge(line, false) } }, "Bring back"))));
  if (at !== null) {
    const buttons = byId("lines").querySelectorAll(".dismiss");
    (buttons[Math.min(at, buttons.length - 1)] ?? byId("lines-title")).focus();
  }
}

function title(count) {
  if (!count) return "No line without a note is left";
  return count === 1 ? "1 line without a note" : `${count} lines without a note`;
}

// Which line the focus is on, so that it does not fall out of the list with that line.
function placeOfFocus() {
  const item = document.activeElement?.closest("#lines li, #dismissed li");
  return item ? [...item.parentElement.children].indexOf(item) : null;
}

function item(line, ...buttons) {
  const where = line.start_s === null ? `${line.recording}, ${line.place}` : `${line.recording} at ${line.place}`;
  return make("li", {},
    make("p", { className: "words" }, `“${line.text}”`),
    make("p", { className: "help" }, where),
    make("div", { className: "deeds" },
      line.start_s !== null && store.state.sounds[line.recording]
        ? make("button", { type: "button", on: { click: () => playAt(line.recording, line.start_s, line.end_s) } }, "Play") : "",
      ...buttons));
}

// A line that says a phrase becomes it; of any other the notes that it may hold are
// offered, a key each.
async function makeNote(line) {
  try {
    const read = await ask("/api/read", { text: line.text.slice(0, 200) });
    if (read.plain && (line.start_s !== null || line.cells.clock)) {
      const told = await edit([{ kind: "add", cells: { ...read.adds[0], ...line.cells } }]);
      showAll();
      choose(told.added[0], { focus: true });
      return;
    }
    const { offers } = await ask("/api/offers", { line: line.key });
    openAdding({
      cells: line.cells, line: line.text, offers, clock: line.cells.clock ?? "",
      told: line.start_s === null
        ? `Of ${line.place} in ${line.recording}; a typed note needs its time.`
        : `At ${line.place} of ${line.recording}. Leave the time empty to take it from there.`,
    });
  } catch (error) {
    store.fault = error.message;
    changed();
  }
}

async function judge(line, dismissed) {
  try {
    await edit([{ kind: "line", line: line.key, dismissed }]);
  } catch (error) {
    store.fault = error.message;
    changed();
  }
}

export function makeNearest() {
  const [line] = inOrder();
  if (line) makeNote(line);
}

export async function dismissNearest() {
  const [line] = inOrder();
  if (!line) return;
  await judge(line, true);
  if (document.activeElement === document.body) focusRow();
}

export function beginLines() {
  byId("lines-more").addEventListener("click", () => { all = true; changed(); });
}
