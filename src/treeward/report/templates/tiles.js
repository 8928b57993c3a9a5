"use strict";
// Lays map pictures under the drawing, those in sight only. Each map says by data-*
// how the square of the world's Mercator map, 0 to 1 both ways, lies on it.
(() => {
  const view = document.getElementById("map-view");
  const { tiles, deepest } = view.dataset;
  const trouble = document.getElementById("trouble");
  const svgName = "http://www.w3.org/2000/svg";

  const underlay = (svg, part) => {
    const [left, top, width, height, x0, xs, y0, ys] =
      part.dataset.lie.split(" ").map(Number);
    const clip = document.createElementNS(svgName, "svg");
    for (const [name, value] of Object.entries({
      x: left, y: top, width, height, viewBox: `${left} ${top} ${width} ${height}`,
    })) clip.setAttribute(name, value);
    svg.prepend(clip);
    const shown = new Map();

    const draw = (box) => {
      if (!svg.clientWidth) return; // the other form is on the screen
      const pixels = svg.clientWidth / box[2];
      const depth = Math.min(
        Math.max(Math.round(Math.log2((xs * pixels) / 256)), 0), Number(deepest));
      const count = 2 ** depth;
      const range = (low, size, from, span, reach) => {
        const start = Math.max(low, from);
        const end = Math.min(low + size, from + span);
        return [Math.floor(((start - reach[0]) / reach[1]) * count),
                Math.ceil(((end - reach[0]) / reach[1]) * count)];
      };
      const [west, east] = range(box[0], box[2], left, width, [x0, xs]);
      const [north, south] = range(box[1], box[3], top, height, [y0, ys]);
      const wanted = new Set();
      for (let x = west; x < east; x += 1) {
        for (let y = Math.max(north, 0); y < Math.min(south, count); y += 1) {
          wanted.add(`${depth}/${((x % count) + count) % count}/${y}`);
          place(depth, x, y, count);
        }
      }
      for (const [name, image] of shown) {
        if (!wanted.has(name)) { image.remove(); shown.delete(name); }
      }
    };

    const place = (depth, x, y, count) => {
      const column = ((x % count) + count) % count;
      const name = `${depth}/${column}/${y}`;
      if (shown.has(name)) return;
      const image = document.createElementNS(svgName, "image");
      for (const [key, value] of Object.entries({
        x: x0 + (xs * x) / count, y: y0 + (ys * y) / count,
        // A hair larger, so that no seam shows between neighbours.
        width: (xs / count) * 1.002, height: (ys / count) * 1.002,
        preserveAspectRatio: "none",
        href: tiles.replace("{z}", depth).replace("{x}", column).replace("{y}", y),
      })) image.setAttribute(key, value);
      image.addEventListener("error", () => { trouble.hidden = false; });
      clip.append(image);
      shown.set(name, image);
    };

    let box = svg.getAttribute("viewBox").split(/[ ,]+/).map(Number);
    let waiting = 0;
    const soon = () => {
      clearTimeout(waiting);
      waiting = setTimeout(() => draw(box), 150);
    };
    svg.addEventListener("moved", (event) => { box = event.detail; soon(); });
    new ResizeObserver(soon).observe(svg);
    draw(box);
  };

  for (const part of view.querySelectorAll("[data-lie]")) {
    underlay(part.querySelector("svg.drawing"), part);
  }
})();
