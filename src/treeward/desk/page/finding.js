// The colony that was found: entered here, kept in found.toml, held against the answer.

import { byId, make } from "./build.js";
import { ask, changed, store } from "./store.js";

const FIELDS = ["position", "found", "height", "entrance", "know", "remark"];

export function openFinding({ another = false } = {}) {
  byId("d-fault").textContent = "";
  byId("d-another-label").hidden = !store.answer?.finds?.length;
  byId("d-another").checked = another;
  if (!byId("d-nest").options.length) byId("d-nest").replaceChildren(...(store.state?.nests ?? []).map((nest) => make("option", { value: nest }, nest)));
  const today = new Date();
  const two = (part) => String(part).padStart(2, "0");
  byId("d-found").value ||= `${today.getFullYear()}-${two(today.getMonth() + 1)}-${two(today.getDate())}`;
  byId("find-dialog").showModal();
  byId("d-position").focus();
}

function another(find) {
  const label = "Another colony near it";
  const button = make("button", { type: "button", className: "another", ariaLabel: `${label}, find ${find.id}` }, label);
  button.setAttribute("aria-haspopup", "dialog");
  button.addEventListener("click", () => openFinding({ another: true }));
  return button;
}

let shown = "";
export function drawFinds() {
  const answer = store.answer;
  if (!answer) return;
  const key = JSON.stringify([answer.finds, answer.finds_fault, answer.fault, answer.headline]);
  if (key === shown) return;
  shown = key;
  byId("finds").replaceChildren(
    answer.finds_fault ? make("p", { className: "fault" }, answer.finds_fault) : "",
    ...answer.finds.map((find) => make("div", { className: "find", tabIndex: -1 },
      make("h3", {}, `Find ${find.id}, ${find.found}, ${find.nest}`),
      ...(find.sentences.length ? find.sentences : [`There is no forecast to compare it with: ${answer.fault || answer.headline || "it is not worked out yet."}`])
        .map((text) => make("p", {}, text.trim())),
      another(find))));
}

async function keep() {
  const height = byId("d-height").value.trim().replace(",", ".");
  if (height && !Number.isFinite(Number(height))) throw new Error("height: write a number of metres, as 6 or 4.5.");
  byId("d-keep").disabled = true;
  try {
    const told = await ask("/api/find", {
      position: byId("d-position").value, found: byId("d-found").value || null, nest: byId("d-nest").value,
      height_m: height ? Number(height) : null, entrance: byId("d-entrance").value.trim(),
      remark: byId("d-remark").value.trim(), may_know: byId("d-know").value,
      another: byId("d-another").checked,
    });
    store.answer = { ...store.answer, finds: told.finds, finds_fault: told.finds_fault };
    for (const name of FIELDS) byId(`d-${name}`).value = "";
    byId("find-dialog").close();
    changed();
    [...byId("finds").querySelectorAll(".find")].at(-1)?.focus();
  } finally {
    byId("d-keep").disabled = false;
  }
}

export function beginFinding() {
  byId("find").addEventListener("click", () => openFinding());
  byId("find-form").addEventListener("submit", (event) => {
    event.preventDefault();
    keep().catch((error) => { byId("d-fault").textContent = error.message; });
  });
  byId("d-cancel").addEventListener("click", () => byId("find-dialog").close());
}
