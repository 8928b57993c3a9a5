// The note being looked at: what was heard, other readings, and its cells.

import { becoming } from "./becoming.js";
import { byId, dot, make } from "./build.js";
import { choose, focusRow, statusWord } from "./rows.js";
import { cellEdits, changed, edit, listed, row, settled, store } from "./store.js";

const FIELDS = ["event", "mark", "value", "clock", "decision", "remark"];
const VALUES = {
  bearing: ["210", "45"], time: ["10:22"], wind: ["calm", "light", "moderate", "strong", "light 225"],
  duration: ["away 330", "round 400"],
};

// Saves cells of a row over what was seen there, and notes said with it; says what went
// wrong beside the form.
export async function correct(one, cells, { move = false, adds = [] } = {}) {
  const edits = [...cellEdits(one, cells), ...adds.map((note) => ({ kind: "add", cells: note }))];
  const after = move ? following(one.row) : null;
  try {
    if (edits.length) await edit(edits);
    else if (!move) return true;
    const now = row(one.row);
    const stuck = now && now.lacks && now.status === "look";
    say(stuck ? `It still has no ${now.lacks}: give it one, or drop it.` : "Saved in review.csv.", stuck);
    if (after && store.current === one.row && !stuck && !store.conflicts.some((clash) => clash.row === one.row)) choose(after, { focus: true });
    return true;
  } catch (error) {
    say(error.message, true);
    return false;
  }
}

// The row that comes next in the list, before this one leaves it.
function following(name) {
  const names = listed().map((one) => one.row);
  const at = names.indexOf(name);
  return names[at + 1] ?? names[at - 1] ?? null;
}

function say(text, wrong = false) {
  byId("saved").textContent = text;
  byId("saved").classList.toggle("fault", Boolean(wrong));
}

export function decide(decision) {
  const one = row();
  if (!one) return;
  const now = one.cells.decision === decision ? "" : decision;
  correct(one, { decision: now }, { move: now !== "" });
}

export function takeReading(number) {
  const one = row();
  const reading = one?.readings[number - 1];
  if (reading?.cells) correct(one, reading.cells, { move: true });
}

// One after the other: each starts from where the one before has put the note.
let nudging = Promise.resolve();
export function nudge(seconds) {
  nudging = nudging.then(settled).then(() => moveClock(seconds));
}

async function moveClock(seconds) {
  const one = row();
  if (!one || one.clock_s === null) return;
  // The clock as shown, moved; the server puts the day and the zone to it.
  const [hours, minutes, whole] = one.clock.split(":").map(Number);
  const part = (one.clock_s % 1) * 1000;
  const local = new Date(Date.UTC(2000, 0, 2, hours, minutes, whole, part) + seconds * 1000);
  if (local.getUTCDate() !== 2) return;
  await correct(one, { clock: local.toISOString().slice(11, part ? 23 : 19) });
}

let shownRow = null;
export function drawNote() {
  const one = row();
  byId("note").hidden = !one;
  if (!one) return;
  if (shownRow !== one.row) {
    shownRow = one.row;
    say("");
    byId("f-phrase").value = "";
    said.clear();
    for (const name of FIELDS) byId(`f-${name}`).dataset.touched = "";
  }
  byId("note-row").textContent = [one.row, one.recording, one.start_s === null ? "typed by hand" : `at ${clockOf(one.start_s)}`]
    .filter(Boolean).join(", ");
  byId("note-status").textContent = statusWord(one.status) || "nothing against it";
  byId("note-status").className = `badge ${one.status}`;
  byId("said").replaceChildren(...(one.paint ? [dot(one.paint)] : []), make("span", {}, one.said || "?"),
    make("span", { className: "kicker" }, one.clock));
  const settled = one.status === "look" ? "" : "settled";
  byId("reasons").replaceChildren(
    ...one.reasons.map((text) => make("li", { className: settled }, text)),
    ...one.doubts.map((text) => make("li", {}, text)));
  byId("reasons").hidden = !one.reasons.length && !one.doubts.length;
  const typed = one.heard && one.start_s === null;
  byId("heard").textContent = typed ? `Typed: “${one.heard}”` : one.heard
    ? `Heard: “${one.heard}”, ${Math.round(one.confidence * 100)} % sure`
    : "Written by hand.";
  byId("talk").replaceChildren(one.talk_before ? `… ${one.talk_before} ` : "",
    make("mark", {}, one.heard || one.said), one.talk_after ? ` ${one.talk_after} …` : "");
  byId("talk").hidden = !one.talk_before && !one.talk_after;
  byId("readings").replaceChildren(...one.readings.map((reading, index) => make("li", {}, make("button", {
    type: "button", disabled: !reading.cells, on: { click: () => takeReading(index + 1) },
  }, reading.text, make("span", { className: "share" }, `${Math.round(reading.confidence * 100)} %`),
  index < 9 ? make("kbd", {}, String(index + 1)) : ""))));
  byId("readings-box").hidden = !one.readings.length;
  for (const name of FIELDS) fill(byId(`f-${name}`), one, name);
  fillList("marks", store.state.marks);
  fillList("values", one.cells.event === "station" ? store.state.stations : VALUES[one.cells.event] ?? []);
  byId("keep").setAttribute("aria-pressed", String(one.cells.decision === "keep"));
  byId("drop").setAttribute("aria-pressed", String(one.cells.decision === "drop"));
}

// A field the person is writing in keeps what is written, and what it was written over.
function fill(field, one, name) {
  if (field.dataset.touched === one.row) return;
  if (name === "event" && field.options.length !== store.state.kinds.length) {
    field.replaceChildren(...store.state.kinds.map((kind) => make("option", { value: kind }, kind)));
  }
  field.value = name === "clock" ? one.clock : one.cells[name];
  field.dataset.was = one.cells[name];
}

function fillList(id, texts) {
  const key = texts.join("\n");
  if (byId(id).dataset.key === key) return;
  byId(id).dataset.key = key;
  byId(id).replaceChildren(...texts.map((value) => make("option", { value })));
}

async function saveField(field) {
  const one = row();
  const name = field.dataset.column;
  if (!one || field.dataset.touched !== one.row) return;
  const { value } = field;
  const { was } = field.dataset;
  field.dataset.touched = "";
  const shown = name === "clock" ? one.clock : one.cells[name];
  if (value === shown && was === one.cells[name]) return;
  const seen = { ...one, cells: { ...one.cells, [name]: was } };
  if (await correct(seen, { [name]: value })) return;
  if (store.current === one.row) { // give it back to be mended
    field.dataset.touched = one.row;
    field.dataset.was = was;
    field.value = value;
    field.focus();
  }
}

// What a phrase says is saved at once; what was told freely is shown first, and saved by
// the next Enter.
async function savePhrase() {
  const one = row();
  const field = byId("f-phrase");
  if (!one) return;
  if (!field.value.trim()) {
    say("Write what was said first.", true);
    field.focus();
    return;
  }
  try {
    const { read, fresh } = await said.look();
    if (!read || store.current !== one.row) return;
    if (read.none) {
      say(read.none, true);
      return;
    }
    if (fresh && !read.plain) {
      say("Enter or Save once more saves that.");
      return;
    }
    if (await correct(one, read.row, { move: true, adds: said.ticked() })) {
      field.value = "";
      said.clear();
    }
  } catch (error) {
    say(error.message, true);
  }
}

let said = null; // what the sentence in the field would become
export function beginNote() {
  said = becoming(byId("f-phrase"), byId("phrase-becomes"), () => store.current);
  for (const name of FIELDS) {
    const field = byId(`f-${name}`);
    field.addEventListener("input", () => { field.dataset.touched = store.current; });
    field.addEventListener("change", () => saveField(field));
    field.addEventListener("keydown", (event) => {
      if (event.key === "Enter") {
        event.preventDefault();
        saveField(field);
        focusRow();
      } else if (event.key === "Escape") {
        field.dataset.touched = "";
        changed();
        focusRow();
      }
    });
  }
  byId("f-phrase").addEventListener("keydown", (event) => {
    if (event.key === "Escape") focusRow();
  });
  byId("cells").addEventListener("submit", (event) => { event.preventDefault(); savePhrase(); });
}

export function clockOf(seconds) {
  const whole = Math.floor(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
