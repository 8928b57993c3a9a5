// Adding a note that was not heard.

import { byId } from "./build.js";
import { clockOf } from "./note.js";
import { choose, focusRow } from "./rows.js";
import { placeForAdding } from "./sound.js";
import { ask, edit, store } from "./store.js";

let place = null;

// `at`: recording, second, clock and words where they are not those of the drawing.
export function openAdding(at = null) {
  place = at?.recording ? at : placeForAdding();
  byId("add-where").textContent = place.second === null
    ? "It has no place in a recording; give its time."
    : `At ${clockOf(place.second)} of ${place.recording}. Leave the time empty to take it from there.`;
  byId("a-clock").value = place.clock;
  byId("a-phrase").value = place.text ?? "";
  byId("add-fault").textContent = "";
  byId("add-dialog").showModal();
  byId("a-phrase").focus();
  byId("a-phrase").select();
}

async function add() {
  const { cells } = await ask("/api/read", { text: byId("a-phrase").value });
  cells.clock = byId("a-clock").value.trim();
  if (place.recording) {
    cells.recording = place.recording;
    cells.start_s = String(place.second);
    cells.end_s = String(place.second);
  }
  const told = await edit([{ kind: "add", cells }]);
  byId("add-dialog").close();
  store.which = "all";
  document.querySelector('input[name="which"][value="all"]').checked = true;
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
