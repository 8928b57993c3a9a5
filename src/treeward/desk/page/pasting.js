// Notes that were typed elsewhere and are pasted: first shown as they would be read.

import { byId, make } from "./build.js";
import { choose, focusRow } from "./rows.js";
import { ask, changed, inTurn, showAll, store, takeState } from "./store.js";

const notes = (count) => (count === 1 ? "1 note" : `${count} notes`);

export function openPasting() {
  forget();
  byId("paste-dialog").showModal();
  byId("p-text").focus();
}

// What was shown no longer holds once the text or the day is another.
function forget() {
  byId("p-seen").replaceChildren();
  byId("p-fault").textContent = "";
  byId("p-take").hidden = true;
  byId("p-look").hidden = false;
}

const sent = () => ({ text: byId("p-text").value, day: byId("p-day").value || null });

let looked = 0;
async function look() {
  forget();
  looked += 1;
  const mine = looked;
  byId("p-seen").replaceChildren(make("p", {}, "Reading …"));
  const page = await ask("/api/typed", sent());
  if (mine !== looked) return;
  byId("p-seen").replaceChildren(...seen(page));
  byId("p-take").textContent = `Take ${notes(page.notes)}`;
  byId("p-take").hidden = !page.notes;
  byId("p-look").hidden = Boolean(page.notes);
  byId(page.notes ? "p-take" : "p-text").focus();
}

// The notes of one line beside it, so that one sees what was made of what.
function lines(said) {
  const found = [];
  for (const note of said) {
    const last = found.at(-1);
    if (last && last.line === note.line) last.notes.push(note);
    else found.push({ line: note.line, notes: [note] });
  }
  return found.map(({ line, notes: made }) => make("li", {},
    make("span", { className: "source" }, line),
    make("ul", {}, ...made.map((note) => make("li", { className: note.doubts.length ? "doubt" : "" },
      make("span", { className: "clock" }, note.clock), ` ${[note.said, ...note.doubts].join("; ")}`)))));
}

function seen(page) {
  const count = page.lines_unread;
  const more = (all, few) => (all > few ? [make("li", {}, `and ${all - few} more`)] : []);
  return [
    make("p", { className: "sum" }, [notes(page.notes), page.days.join(", ")].filter(Boolean).join(", ")
      + (count ? `; ${count === 1 ? "1 line" : `${count} lines`} not understood` : "; every line understood")
      + (page.in_doubt ? `; ${notes(page.in_doubt)} in doubt` : "")),
    page.known ? make("p", { className: "fault" }, `${notes(page.known)} of these stand in the review already, from elsewhere; they would stand there twice.`) : "",
    page.replaces ? make("p", {}, `You pasted an earlier state of these notes before: this takes its place, and what you corrected stays.`) : "",
    count ? make("h3", {}, "Not understood") : "",
    count ? make("ol", { className: "unread" }, ...page.unread.map((line) => make("li", {},
      make("span", { className: "clock" }, line.place), ` ${line.text}`)), ...more(count, page.unread.length)) : "",
    count ? make("p", { className: "help" }, "They are kept as lines without a note, to be made into notes by hand.") : "",
    make("h3", {}, "Read, below each line as it stands in your notes"),
    make("ol", { className: "read" }, ...lines(page.said), ...more(page.notes, page.said.length)),
  ].filter((part) => part !== "");
}

async function take() {
  byId("p-take").disabled = true;
  try {
    const told = await inTurn(async () => {
      const taken = await ask("/api/take", sent());
      takeState(taken);
      return taken;
    });
    byId("p-text").value = "";
    byId("paste-dialog").close();
    showAll();
    const first = told.rows.find((one) => one.recording === told.taken.name);
    store.news = `${notes(told.taken.notes)} taken in, kept as recordings/${told.taken.name}.`;
    if (first) choose(first.row, { focus: true });
    changed();
  } finally {
    byId("p-take").disabled = false;
  }
}

function fault(error) {
  byId("p-fault").textContent = error.message;
}

export function beginPasting() {
  byId("paste").addEventListener("click", openPasting);
  byId("paste-form").addEventListener("submit", (event) => {
    event.preventDefault();
    look().catch((error) => { byId("p-seen").replaceChildren(); fault(error); });
  });
  byId("p-take").addEventListener("click", () => take().catch(fault));
  for (const id of ["p-text", "p-day"]) byId(id).addEventListener("input", () => { looked += 1; forget(); });
  byId("p-cancel").addEventListener("click", () => byId("paste-dialog").close());
  byId("paste-dialog").addEventListener("close", focusRow);
}
