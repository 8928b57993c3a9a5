// Adding a note that was not heard.

import { byId } from "./build.js";
import { clockOf } from "./note.js";
import { choose, focusRow } from "./rows.js";
import { placeForAdding } from "./sound.js";
import { ask, edit, showAll } from "./store.js";

let place = null; // {cells, told, clock, text}: where the note stands

// Where the drawing of the sound points, unless `at` says another place.
export function openAdding(at = null) {
  place = at?.cells ? at : pointedAt();
  byId("add-where").textContent = place.told;
  byId("a-clock").value = place.clock;
  byId("a-phrase").value = place.text ?? "";
  byId("add-fault").textContent = "";
  byId("add-dialog").showModal();
  byId("a-phrase").focus();
  byId("a-phrase").select();
}

function pointedAt() {
  const { recording, second, clock } = placeForAdding();
  if (second === null) return { cells: {}, told: "It has no place in a recording; give its time.", clock };
  return {
    cells: { recording, start_s: String(second), end_s: String(second) }, clock,
    told: `At ${clockOf(second)} of ${recording}. Leave the time empty to take it from there.`,
  };
}

async function add() {
  const { cells } = await ask("/api/read", { text: byId("a-phrase").value });
  const clock = byId("a-clock").value.trim();
  const told = await edit([{ kind: "add", cells: { ...cells, ...place.cells, clock } }]);
  byId("add-dialog").close();
  showAll();
  choose(told.added[0], { focus: true });
}

export function beginAdding() {
  byId("add-form").addEventListener("submit", (event) => {
    event.preventDefault();
    add().catch((error) => { byId("add-fault").textContent = error.message; });
  });
  byId("add-cancel").addEventListener("click", () => byId("add-dialog").close());
  byId("add-dialog").addEventListener("close", focusRow);
}
