// What must not be overlooked: faults, news, and cells that two hands changed.

import { byId, make } from "./build.js";
import { choose } from "./rows.js";
import { changed, edit, row, store } from "./store.js";

const NAMES = { clock: "time", event: "note", mark: "mark", value: "value", decision: "decision", remark: "remark" };

let shown = "";
export function drawAlerts() {
  const key = JSON.stringify([store.fault, store.news, store.conflicts]);
  if (key === shown) return;
  shown = key;
  const boxes = [];
  if (store.fault) boxes.push(make("div", {}, store.fault));
  if (store.news) {
    boxes.push(make("div", {}, store.news, make("div", { className: "deeds" }, make("button", {
      type: "button", on: { click: () => { store.news = ""; changed(); } },
    }, "Good"))));
  }
  boxes.push(...store.conflicts.map(clashBox));
  byId("alerts").replaceChildren(...boxes);
}

function clashBox(clash) {
  if (!clash.column) {
    return make("div", { className: "conflict" }, `Row ${clash.row} was taken out or changed by another program; your change was not written.`,
      make("div", { className: "deeds" }, forget(clash, "Good")));
  }
  return make("div", { className: "conflict" },
    `Row ${clash.row}, ${NAMES[clash.column] ?? clash.column}: another program wrote “${clash.theirs}” where you saw “${clash.was}” and wrote “${clash.mine}”. The file still holds “${clash.theirs}”.`,
    make("div", { className: "deeds" },
      forget(clash, `Leave “${clash.theirs}”`),
      make("button", { type: "button", className: "write-mine", on: { click: () => writeMine(clash) } }, `Write “${clash.mine}”`),
      row(clash.row) ? make("button", { type: "button", on: { click: () => choose(clash.row) } }, "Show the row") : ""));
}

function forget(clash, text) {
  return make("button", {
    type: "button", on: { click: () => { store.conflicts = store.conflicts.filter((one) => one !== clash); changed(); } },
  }, text);
}

async function writeMine(clash) {
  try {
    await edit([{ kind: "cell", row: clash.row, column: clash.column, value: clash.mine, was: clash.theirs }]);
  } catch (error) {
    store.fault = error.message;
    changed();
  }
}
