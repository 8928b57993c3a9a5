// Trips and distances beside the notes; they follow the corrections.

import { byId, dot, drawn, make } from "./build.js";
import { choose } from "./rows.js";
import { ask, changed, row, stale, store } from "./store.js";

export function drawSide() {
  drawAnswer();
  drawTrips();
}

function drawAnswer() {
  const answer = store.answer;
  byId("answer-box").classList.toggle("stale", stale());
  if (!answer) return;
  byId("headline").textContent = answer.fault || answer.headline || "Not worked out yet.";
  if (answer.fault || !answer.headline) {
    byId("answer").replaceChildren();
    return;
  }
  const hints = answer.next.length ? answer.next : answer.advice;
  const more = answer.sentences.length ? hints : answer.missing;
  const seen = new Set();
  const once = more.filter((text) => {
    const key = text.toLowerCase().replace(/\W/g, "");
    return !seen.has(key) && seen.add(key);
  });
  byId("answer").replaceChildren(
    ...answer.sentences.map((text) => make("p", {}, text)),
    once.length ? make("ul", {}, ...once.map((text) => make("li", {}, text))) : "",
    make("p", { className: "help" }, answer.basis));
}

function range(bee) {
  const end = (share) => 2 + share * 196;
  const picture = drawn("svg", { viewBox: "0 0 200 16", preserveAspectRatio: "none", "aria-hidden": "true" },
    drawn("line", { x1: 2, x2: 198, y1: 8, y2: 8, stroke: "var(--rule)", "stroke-width": 1 }),
    drawn("line", { x1: end(bee.low), x2: end(bee.high), y1: 8, y2: 8, stroke: "var(--heath)", "stroke-width": 2 }),
    drawn("rect", { x: end(bee.low50), width: Math.max(1, end(bee.high50) - end(bee.low50)), y: 4, height: 8, fill: "var(--heath)", "fill-opacity": 0.45 }),
    drawn("rect", { x: end(bee.median) - 1.5, width: 3, y: 1, height: 14, fill: "var(--ink)" }));
  return make("div", { className: "range" }, picture,
    make("p", {}, `about ${bee.text} away; nine in ten: ${bee.range}`));
}

let shownTrips = "";
let shownDistances = []; // the last ones stand while newer ones are worked out
function drawTrips() {
  const trips = store.state?.trips;
  if (!trips) return;
  byId("trip-counts").textContent = trips.fault ?? trips.counts;
  byId("trip-doubts").replaceChildren(...(trips.doubts ?? []).map((text) => make("li", {}, text)));
  const distances = stale() ? shownDistances : store.answer.distances ?? [];
  shownDistances = distances;
  const heardHere = new Set(store.state.rows.filter((one) => one.recording === row()?.recording).map((one) => one.row));
  const isHere = (bee) => bee.trips.some((trip) => heardHere.has(trip.away_row) || heardHere.has(trip.back_row))
    || bee.bearings.some((line) => heardHere.has(line.row));
  const bees = [...(trips.bees ?? [])].sort((a, b) => isHere(b) - isHere(a)); // this recording's first
  const key = JSON.stringify([bees, distances]);
  if (key !== shownTrips) {
    shownTrips = key;
    byId("bees").replaceChildren(...bees.map((bee) => beeBox(bee, distances)));
  }
  for (const chip of byId("bees").querySelectorAll("button")) {
    chip.setAttribute("aria-pressed", String(chip.dataset.rows.split(" ").includes(store.current)));
  }
}

function beeBox(bee, distances) {
  const distance = distances.find((one) => one.bee === bee.bee && one.station === bee.station);
  const chips = [
    ...bee.trips.map((trip) => chip(trip.away, [trip.away_row, trip.back_row], trip,
      `${trip.timing === "round" ? "round trip" : "away"} ${trip.away}${trip.clock ? ` from ${trip.clock}` : ""}`)),
    ...bee.bearings.map((line) => chip(`→ ${line.text}`, [line.row], line, `bearing ${line.text}`)),
  ];
  const used = bee.trips.filter((trip) => trip.used);
  const shortest = used.length ? used.reduce((a, b) => (a.away_s < b.away_s ? a : b)) : null;
  return make("div", { className: "bee" },
    make("h3", {}, dot(bee.paint), bee.bee, make("span", { className: "here" }, bee.station ? `station ${bee.station}` : "no station")),
    shortest ? make("p", {}, `${used.length} ${used.length === 1 ? "trip" : "trips"} used, the shortest ${shortest.away}`) : "",
    make("div", { className: "chips" }, ...chips),
    distance ? range(distance) : "");
}

function chip(text, names, one, label) {
  const rows = names.filter(Boolean);
  const doubts = one.doubts.join("; ");
  const state = [one.used ? "" : "left out", doubts].filter(Boolean).join(": ");
  return make("button", {
    type: "button", className: `${one.used ? "" : "out"} ${doubts ? "doubt" : ""}`.trim(), title: state,
    "aria-label": [label, state].filter(Boolean).join(", "), "data-rows": rows.join(" "),
    on: { click: () => jump(rows) },
  }, text, doubts ? " ◆" : "");
}

// First the row where the trip ended; from there back to where it began.
function jump(rows) {
  const next = rows.find((name) => name !== store.current && row(name)) ?? rows[0];
  if (next) choose(next);
}

export async function writeResults() {
  byId("results").disabled = true;
  byId("written").textContent = "Working it out and writing …";
  try {
    const told = await ask("/api/results", {});
    byId("written").replaceChildren(
      `Written to ${told.directory}: ${told.files.length} files. `,
      make("a", { href: "/report.html", target: "_blank", id: "report-link" }, "Open the report"));
  } catch (error) {
    byId("written").textContent = error.message;
  }
  byId("results").disabled = false;
  changed();
}
