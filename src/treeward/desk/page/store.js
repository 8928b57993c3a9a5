// What the server said last, and the way to it. Everything shown comes from here.

const listeners = new Set();
export const store = {
  state: null, // as /api/state gives it
  answer: null, // as /api/answer gives it
  current: null, // name of the row being looked at
  which: "look", // "look": queue, "all": by time
  undo: [], // lists of edits that take back, newest last
  conflicts: [],
  fault: "",
  news: "",
  order: null, // row -> its place in the list to look at, once what hangs on each is known
  touched: false, // whether the person has gone to a row or changed one
};

export function listen(redraw) {
  listeners.add(redraw);
}

export function changed() {
  for (const redraw of listeners) redraw();
}

export class Fault extends Error {}

export async function ask(path, body) {
  const options = body === undefined ? {} : {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  };
  let answer;
  try {
    answer = await fetch(path, options);
  } catch {
    throw new Fault("Treeward is not running any more. Start it again in the terminal; what was saved is saved.");
  }
  const text = await answer.text();
  let told;
  try {
    told = JSON.parse(text);
  } catch {
    told = { fault: text };
  }
  if (!answer.ok) throw new Fault(told.fault || `The answer was ${answer.status}.`);
  return told;
}

export function row(name = store.current) {
  return store.state?.rows.find((one) => one.row === name) ?? null;
}

// Rows as the list shows them now. The current one stays where it was until it is left,
// even when it needs no look any more.
let place = 0;
export function listed() {
  if (!store.state) return [];
  if (store.which === "all") return store.state.rows;
  const all = new Map(store.state.rows.map((one) => [one.row, one]));
  const queue = ordered(store.state.queue).map((name) => all.get(name)).filter(Boolean);
  const at = queue.findIndex((one) => one.row === store.current);
  if (at >= 0) place = at;
  else if (all.has(store.current)) queue.splice(Math.min(place, queue.length), 0, all.get(store.current));
  return queue;
}

function ordered(names) {
  if (!store.order) return names;
  const place = (name) => store.order.get(name) ?? store.order.size;
  return [...names].sort((a, b) => place(a) - place(b)); // rows that came since: last
}

export function moveOf(name) {
  return store.answer?.moves?.rows[name] ?? null;
}

// Puts first what the place depends on. Done once all is known and when the person asks
// for the list anew, so that rows do not jump about under the hand.
export function putInOrder() {
  if (!store.state || !store.answer?.moves) return;
  const by = (name) => {
    const move = moveOf(name);
    return [move?.rank ?? 2, -(move?.moves_m ?? 0)];
  };
  const names = [...store.state.queue].sort((a, b) => by(a)[0] - by(b)[0] || by(a)[1] - by(b)[1]);
  store.order = new Map(names.map((name, index) => [name, index]));
  if (!store.touched && store.which === "look" && names.length) store.current = names[0];
}

// Puts a state that the server told in place of the one before.
export function takeState(told) {
  store.state = told;
  if (!row()) store.current = listed()[0]?.row ?? told.rows[0]?.row ?? null;
}

export function showAll() {
  store.which = "all";
  document.querySelector('input[name="which"][value="all"]').checked = true;
}

export async function load() {
  try {
    takeState(await ask("/api/state"));
    store.fault = "";
  } catch (error) {
    store.fault = error.message;
  }
  changed();
}

// Sends edits; returns the server's reply, or throws a Fault and changes nothing.
let sending = Promise.resolve();
export function edit(edits, { remember = true } = {}) {
  store.touched = true;
  const work = async () => {
    const told = await ask("/api/edit", { edits });
    if (remember && told.undo.length) store.undo.push(told.undo);
    store.conflicts = store.conflicts
      .filter((old) => !edits.some((one) => one.row === old.row && one.column === old.column))
      .concat(told.conflicts);
    store.fault = "";
    takeState(told);
    changed();
    return told;
  };
  return inTurn(work);
}

// One change at a time, in the order they were made; those of others are told from ours.
export function inTurn(work) {
  const result = sending.then(work, work);
  sending = result.catch(() => {});
  return result;
}

// Resolves once all that was sent is answered.
export const settled = () => sending;

export function cellEdits(one, cells) {
  return Object.entries(cells)
    .filter(([column, value]) => one.cells[column] !== value)
    .map(([column, value]) => ({
      kind: "cell", row: one.row, column, value, was: one.cells[column],
    }));
}

export async function takeBack() {
  await settled(); // what is being saved is what is to be taken back
  const edits = store.undo.pop();
  if (!edits) return;
  try {
    await edit(edits, { remember: false });
    const name = edits.find((one) => one.row)?.row;
    if (name && row(name)) store.current = name;
  } catch (error) {
    store.undo.push(edits);
    store.fault = error.message;
  }
  changed();
}

// Looks every so often whether the file or the answer is a newer one.
let answered = -1;
let weighed = -1;
export async function watch() {
  for (;;) {
    let pause = 2500;
    try {
      const pulse = await ask("/api/pulse");
      if (store.fault.startsWith("Treeward is not running")) store.fault = "";
      if (store.state && pulse.digest !== store.state.digest) {
        await sending;
        if (pulse.digest !== store.state.digest && pulse.digest === (await ask("/api/pulse")).digest) {
          await load();
          if (!store.fault) store.news = "review.csv was changed by another program; this page shows it as it is now.";
          changed();
        }
      }
      if (pulse.answered !== answered || pulse.weighed !== weighed) {
        store.answer = await ask("/api/answer");
        answered = store.answer.answered;
        weighed = store.answer.weighed;
        if (store.answer.moves.done && !store.order) putInOrder();
        if (!store.answer.moves.done) pause = 1000;
        changed();
      }
      if (pulse.answered < pulse.asked) pause = 400;
    } catch (error) {
      store.fault = error.message;
      changed();
    }
    await new Promise((resolve) => setTimeout(resolve, pause));
  }
}

export function stale() {
  return !store.answer || store.answer.answered < (store.state?.asked ?? 0);
}
