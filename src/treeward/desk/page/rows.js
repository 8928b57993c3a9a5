// The list of notes.

import { byId, make } from "./build.js";
import { changed, listed, moveOf, store } from "./store.js";

const SAYS = {
  look: "to look at", plain: "", kept: "kept", changed: "corrected", added: "added", dropped: "dropped",
};

export function statusWord(status) {
  return SAYS[status] ?? status;
}

export function choose(name, { focus = false } = {}) {
  store.touched = true;
  store.current = name;
  changed();
  if (focus) focusRow();
}

export function focusRow() {
  const button = byId("rows").querySelector('[aria-current="true"]');
  (button ?? byId("said")).focus();
}

// The neighbour in the list as it is shown; stays at its ends.
export function step(by) {
  const names = listed().map((one) => one.row);
  const at = names.indexOf(store.current);
  const next = at < 0 ? names[0] : names[Math.min(names.length - 1, Math.max(0, at + by))];
  if (next) choose(next, { focus: true });
}

let shown = "";
let severalDays = false;
export function drawRows() {
  const state = store.state;
  if (!state) return;
  const rows = listed();
  const left = state.queue.length;
  const judged = state.rows.filter((one) => ["kept", "changed", "added", "dropped"].includes(one.status)).length;
  byId("hunt").textContent = state.hunt;
  const open = left + state.lines.length;
  document.title = `${open ? `(${open}) ` : ""}${state.hunt} – review`;
  byId("progress").textContent = open
    ? `To look at: ${state.left}. ${judged} of ${state.rows.length} notes judged`
    : `Nothing left to look at; ${judged} of ${state.rows.length} notes judged`;
  byId("rows").dataset.ordered = store.order ? "yes" : "no";
  byId("rows-count").textContent = String(store.which === "look" ? left : rows.length);
  byId("rows-empty").hidden = store.which === "look" ? left > 0 : rows.length > 0;
  byId("rows-empty").textContent = store.which === "look"
    ? "Nothing left to look at. Write the results, or see all notes."
    : "There are no notes yet. Paste what you typed, or run: treeward transcribe.";
  severalDays = new Set(state.rows.map((one) => one.day).filter(Boolean)).size > 1;
  const key = JSON.stringify([severalDays, store.which, rows.map((one) => [one.row, one.said, one.clock, one.status, one.reasons, one.doubts, moveOf(one.row)?.text])]);
  let had = false; // whether the focus was in the list that is made anew
  if (key !== shown) {
    shown = key;
    had = byId("rows").contains(document.activeElement);
    byId("rows").replaceChildren(...rows.map(item));
  }
  for (const button of byId("rows").querySelectorAll("button")) {
    const current = button.dataset.row === store.current;
    if (current && button.getAttribute("aria-current") !== "true") {
      const list = byId("rows");
      const top = button.offsetTop - list.offsetTop;
      if (top < list.scrollTop || top + button.offsetHeight > list.scrollTop + list.clientHeight) {
        list.scrollTop = top - list.clientHeight / 3;
      }
    }
    button.setAttribute("aria-current", String(current));
    button.tabIndex = current || !rows.some((one) => one.row === store.current) ? 0 : -1;
  }
  if (had) focusRow();
}

function item(one) {
  const why = one.status === "look" ? one.reasons.join("; ")
    : [statusWord(one.status), ...one.doubts].filter(Boolean).join("; ");
  const move = one.status === "look" ? moveOf(one.row) : null;
  const unknown = one.status === "look" && !move && store.answer?.moves?.done;
  return make("li", {}, make("button", {
    type: "button", className: one.status, "data-row": one.row,
    on: { click: () => choose(one.row) },
  },
  make("span", { className: `sign ${one.status}`, "aria-hidden": "true" }),
  make("span", { className: "words" }, one.said || "?"),
  make("span", { className: "clock" }, severalDays ? `${one.day} ${one.clock}` : one.clock || "no time"),
  move ? make("span", { className: `moves rank${move.rank}` }, move.text) : "",
  unknown ? make("span", { className: "moves rank2" }, "not known how far it moves the place") : "",
  why ? make("span", { className: "why" }, why) : ""));
}
