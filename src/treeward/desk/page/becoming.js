// What a typed sentence would become, shown below its field before anything is saved.

import { make } from "./build.js";
import { ask } from "./store.js";

const PAUSE_MS = 250; // after the last letter; a person stops to look

// `rowOf` gives the name of the row to correct, or null for notes to add.
export function becoming(field, place, rowOf) {
  let read = null; // what the server made of `of`
  let of = "";
  let timer = 0;

  const sentence = () => `${rowOf() ?? ""}\n${field.value.trim()}`;

  function clear() {
    clearTimeout(timer);
    read = null;
    of = "";
    place.replaceChildren();
  }

  // Asks what the words say and shows it; tells whether it was not on the screen before.
  async function look() {
    clearTimeout(timer);
    const asked = sentence();
    if (asked === of) return { read, fresh: false };
    const told = await ask("/api/read", { text: field.value.trim(), row: rowOf() });
    if (asked !== sentence()) return { read: null, fresh: true }; // written on meanwhile
    of = asked;
    read = told;
    draw();
    return { read, fresh: true };
  }

  function draw() {
    if (read.none) {
      place.replaceChildren();
      return;
    }
    const said = [...read.said];
    const own = read.row ? said.shift() : null;
    const one = own ?? (said.length === 1 ? said.pop() : "");
    const title = !one ? "" : `It ${read.same ? "stays" : read.row ? "becomes" : "says"} “${one}”.`;
    place.replaceChildren(title, ...said.map((text, index) => make("label", { className: "check" },
      make("input", { type: "checkbox", checked: true, value: String(index) }), `add “${text}”`)));
  }

  // The notes to add that are still ticked; one alone has no box.
  function ticked() {
    if (!read.row && read.adds.length === 1) return read.adds;
    return [...place.querySelectorAll("input:checked")].map((box) => read.adds[Number(box.value)]);
  }

  field.addEventListener("input", () => {
    clearTimeout(timer);
    if (!field.value.trim()) clear();
    else if (sentence() !== of) {
      place.replaceChildren();
      timer = setTimeout(() => look().catch(() => {}), PAUSE_MS); // saving tells of faults
    }
  });
  return { clear, look, ticked };
}
