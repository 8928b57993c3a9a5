"use strict";
// Moves and magnifies the maps in #map-view. A map whose part shown has changed gets
// the event "moved", its detail the part: [left, top, width, height].
(() => {
  const view = document.getElementById("map-view");
  if (!view) return;
  const movers = [];

  const setUp = (svg) => {
    const all = svg.getAttribute("viewBox").split(/[ ,]+/).map(Number);
    let box = all.slice();
    const closer = () => box[2] < all[2] * 0.999;
    const apply = () => {
      svg.setAttribute("viewBox", box.join(" "));
      svg.classList.toggle("zoomed", closer());
      svg.dispatchEvent(new CustomEvent("moved", { detail: box.slice() }));
    };
    // The map's edges stay outside the frame, however it is dragged.
    const keep = () => {
      for (const i of [0, 1]) {
        const most = all[i] + all[i + 2] - box[i + 2];
        box[i] = Math.min(Math.max(box[i], all[i]), most);
      }
    };
    const zoom = (factor, x, y) => {
      const width = Math.min(Math.max(box[2] * factor, all[2] / 12), all[2]);
      const share = width / box[2];
      box = [x - (x - box[0]) * share, y - (y - box[1]) * share, width, box[3] * share];
      keep();
      apply();
    };
    const at = (event) => {
      const frame = svg.getBoundingClientRect();
      return [
        box[0] + ((event.clientX - frame.left) / frame.width) * box[2],
        box[1] + ((event.clientY - frame.top) / frame.height) * box[3],
      ];
    };
    movers.push((way) => {
      const middle = [box[0] + box[2] / 2, box[1] + box[3] / 2];
      if (way === "in") zoom(0.6, ...middle);
      if (way === "out") zoom(1 / 0.6, ...middle);
      if (way === "all") { box = all.slice(); apply(); }
    });
    svg.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !event.metaKey && !closer()) return;
      event.preventDefault();
      zoom(event.deltaY > 0 ? 1.2 : 1 / 1.2, ...at(event));
    }, { passive: false });
    svg.addEventListener("dblclick", (event) => zoom(0.5, ...at(event)));
    const fingers = new Map();
    const apart = () => {
      const [a, b] = [...fingers.values()];
      return Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
    };
    svg.addEventListener("pointerdown", (event) => {
      fingers.set(event.pointerId, event);
      if (closer()) svg.setPointerCapture(event.pointerId);
    });
    svg.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      if (fingers.size === 2) {
        const was = apart();
        fingers.set(event.pointerId, event);
        zoom(was / Math.max(apart(), 1), ...at(event));
        return;
      }
      const frame = svg.getBoundingClientRect();
      box[0] -= ((event.clientX - before.clientX) / frame.width) * box[2];
      box[1] -= ((event.clientY - before.clientY) / frame.height) * box[3];
      fingers.set(event.pointerId, event);
      keep();
      apply();
    });
    for (const kind of ["pointerup", "pointercancel", "pointerleave"]) {
      svg.addEventListener(kind, (event) => fingers.delete(event.pointerId));
    }
  };

  for (const svg of view.querySelectorAll("svg.drawing")) setUp(svg);
  const tools = view.querySelector(".map-tools");
  tools.hidden = false;
  tools.addEventListener("click", (event) => {
    for (const move of movers) move(event.target.dataset.zoom);
  });
})();
