// Ties the parts together, and the keys to the deeds.

import { beginAdding, openAdding } from "./adding.js";
import { drawAlerts } from "./alerts.js";
import { byId, make } from "./build.js";
import { beginFinding, drawFinds, openFinding } from "./finding.js";
import { beginLines, dismissNearest, drawLines, makeNearest } from "./lines.js";
import { beginNote, decide, drawNote, nudge, takeReading } from "./note.js";
import { beginPasting, openPasting } from "./pasting.js";
import { choose, drawRows, step } from "./rows.js";
import { drawSide, writeResults } from "./side.js";
import { beginSound, drawSound, moveCursor, play } from "./sound.js";
import { ask, changed, listen, listed, load, putInOrder, store, takeBack, watch } from "./store.js";

const KEYS = [
  [" ", "space", "play the seconds around the note; again: stop", () => play()],
  ["p", "p", "play longer around it", () => play(true)],
  ["Enter", "enter", "keep: it is right", () => decide("keep")],
  ["d", "d", "drop, or take the drop back", () => decide("drop")],
  ["1-9", "1 … 9", "take that other reading", null],
  ["c", "c", "write it as it was said", () => into("f-phrase")],
  ["e", "e", "kind of note", () => into("f-event")],
  ["m", "m", "mark", () => into("f-mark")],
  ["v", "v", "value", () => into("f-value")],
  ["t", "t", "time", () => into("f-clock")],
  ["r", "r", "remark", () => into("f-remark")],
  ["[", "[", "a second earlier", () => nudge(-1)],
  ["]", "]", "a second later", () => nudge(1)],
  [",", ",", "move the place to play or add at back by half a second", () => moveCursor(-0.5)],
  [".", ".", "move it on by half a second", () => moveCursor(0.5)],
  ["a", "a", "add a note there", () => openAdding()],
  ["o", "o", "make a note of the nearest line without one", makeNearest],
  ["x", "x", "there is nothing in that line", dismissNearest],
  ["i", "i", "paste notes you typed", openPasting],
  ["f", "f", "enter where the colony was found", openFinding],
  ["n", "n or ↓", "next note", () => step(1)],
  ["b", "b or ↑", "the note before", () => step(-1)],
  ["l", "l", "list all notes, or those to look at", toggleList],
  ["u", "u", "undo", takeBack],
  ["w", "w", "write the results", writeResults],
  ["?", "?", "this list", () => byId("keys-dialog").showModal()],
];
const DEEDS = {
  play: () => play(), keep: () => decide("keep"), drop: () => decide("drop"), next: () => step(1), add: () => openAdding(),
};

function into(id) {
  const field = byId(id);
  field.focus();
  if (field.select) field.select();
}

function toggleList() {
  show(store.which === "look" ? "all" : "look");
}

function show(which) {
  store.which = which;
  if (which === "look") putInOrder();
  document.querySelector(`input[name="which"][value="${which}"]`).checked = true;
  if (!listed().some((one) => one.row === store.current) && listed().length) choose(listed()[0].row);
  changed();
}

function onKey(event) {
  // Some keyboards write [ and ] with AltGr, which counts as Ctrl and Alt.
  const chord = (event.ctrlKey || event.altKey) && !event.getModifierState("AltGraph");
  if (chord || event.metaKey || event.isComposing) return;
  const target = event.target;
  if (document.querySelector("dialog[open]") || target.matches("input[type=text], input[type=date], textarea, select")) return;
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    if (target.matches("input")) return;
    event.preventDefault();
    step(event.key === "ArrowDown" ? 1 : -1);
    return;
  }
  if (!byId("keys-on").checked) return;
  // Enter and space on a button press the button, but on a row they judge and play.
  const onRow = byId("rows").contains(target) || target === document.body || target === byId("said");
  if ((event.key === "Enter" || event.key === " ") && !onRow) return;
  if (/^[1-9]$/.test(event.key)) {
    takeReading(Number(event.key));
    return;
  }
  const found = KEYS.find(([key]) => key === event.key);
  if (!found?.[3]) return;
  event.preventDefault();
  found[3]();
}

async function finish() {
  try {
    await ask("/api/finish", {});
  } catch { /* it has gone already, which is what was asked for */ }
  document.body.replaceChildren(make("main", { className: "done" }, make("section", { className: "note" },
    make("h1", {}, "Done"),
    make("p", {}, "Everything is saved in review.csv. You can close this page."))));
}

listen(drawAlerts);
listen(drawRows);
listen(drawNote);
listen(drawLines);
listen(drawSound);
listen(drawSide);
listen(drawFinds);
listen(() => { byId("undo").disabled = store.undo.length === 0; });
beginNote();
beginSound();
beginAdding();
beginLines();
beginPasting();
beginFinding();
for (const [deed, work] of Object.entries(DEEDS)) {
  for (const button of document.querySelectorAll(`#${deed}, [data-deed="${deed}"]`)) button.addEventListener("click", work);
}
byId("undo").addEventListener("click", takeBack);
byId("results").addEventListener("click", writeResults);
byId("finish").addEventListener("click", finish);
byId("keys-button").addEventListener("click", () => byId("keys-dialog").showModal());
byId("keys-close").addEventListener("click", () => byId("keys-dialog").close());
byId("keys-list").replaceChildren(...KEYS.flatMap(([, name, words]) => [make("dt", {}, make("kbd", {}, name)), make("dd", {}, words)]));
for (const choice of document.querySelectorAll('input[name="which"]')) {
  choice.addEventListener("change", () => show(choice.value));
}
document.addEventListener("keydown", onKey);
if (matchMedia("(max-width: 46rem)").matches) byId("rows-box").open = false;
await load();
if (store.state && !store.state.queue.length) show("all");
document.documentElement.dataset.ready = "yes";
watch();
