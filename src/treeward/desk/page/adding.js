// Adding a note that was not heard, or that a line holds which made none.

import { becoming } from "./becoming.js";
import { byId, make } from "./build.js";
import { clockOf } from "./note.js";
import { choose, focusRow } from "./rows.js";
import { placeForAdding } from "./sound.js";
import { edit, showAll } from "./store.js";

let place = null; // {cells, told, clock, line, offers}: where the note stands
let said = null; // what the sentence in the field would become

// Where the drawing of the sound points, unless `at` says another place.
export function openAdding(at = null) {
  place = at?.cells ? at : pointedAt();
  byId("add-where").textContent = place.told;
  byId("add-line").textContent = place.line ? `“${place.line}”` : "";
  byId("add-line").hidden = !place.line;
  byId("a-clock").value = place.clock;
  byId("a-phrase").value = "";
  byId("add-fault").textContent = "";
  said.clear();
  const offers = place.offers ?? [];
  byId("offers-box").hidden = !offers.length;
  byId("offers").replaceChildren(...offers.map((offer, index) => make("li", {}, make("button", {
    type: "button", on: { click: () => take(offer) },
  }, `${offer.said} `, make("kbd", {}, String(index + 1))))));
  byId("add-dialog").showModal();
  (byId("offers").querySelector("button") ?? byId("a-phrase")).focus();
}

function pointedAt() {
  const { recording, second, clock } = placeForAdding();
  if (second === null) return { cells: {}, told: "It has no place in a recording; give its time.", clock };
  return {
    cells: { recording, start_s: String(second), end_s: String(second) }, clock,
    told: `At ${clockOf(second)} of ${recording}. Leave the time empty to take it from there.`,
  };
}

async function save(notes) {
  const clock = byId("a-clock").value.trim();
  const told = await edit(notes.map((cells) => ({ kind: "add", cells: { ...cells, ...place.cells, clock } })));
  byId("add-dialog").close();
  showAll();
  choose(told.added[0], { focus: true });
}

function tell(error) {
  byId("add-fault").textContent = error.message ?? error;
}

function take(offer) {
  save(offer.notes).catch(tell);
}

async function add() {
  const { read, fresh } = await said.look();
  if (!read) return;
  if (read.none) tell(read.none);
  else if (fresh && !read.plain) tell("Add once more adds that.");
  else if (said.ticked().length) await save(said.ticked());
  else tell("Nothing is ticked to be added.");
}

// A digit takes what is offered; a letter goes into the field, wherever the focus is.
function onKey(event) {
  if (event.ctrlKey || event.altKey || event.metaKey || event.target.matches("input[type=text]")) return;
  const offer = /^[1-9]$/.test(event.key) ? place.offers?.[Number(event.key) - 1] : null;
  if (offer) {
    event.preventDefault();
    take(offer);
  } else if (/^\p{L}$/u.test(event.key)) byId("a-phrase").focus();
}

export function beginAdding() {
  said = becoming(byId("a-phrase"), byId("add-becomes"), () => null);
  byId("add-form").addEventListener("submit", (event) => {
    event.preventDefault();
    add().catch(tell);
  });
  byId("add-dialog").addEventListener("keydown", onKey);
  byId("add-cancel").addEventListener("click", () => byId("add-dialog").close());
  byId("add-dialog").addEventListener("close", focusRow);
}
