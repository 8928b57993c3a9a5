// Makes elements; text always goes in as text, never as markup.

export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") for (const [event, deed] of Object.entries(value)) element.addEventListener(event, deed);
    else if (value === false || value === null || value === undefined) continue;
    else if (name in element && name !== "list") element[name] = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== ""));
  return element;
}

export const byId = (id) => document.getElementById(id);

const SVG = "http://www.w3.org/2000/svg";
export function drawn(tag, attributes, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

// A bee's paint: a dot, halved where she wears two colours.
export function dot(paint) {
  const picture = drawn("svg", { viewBox: "0 0 16 16", class: "dot", "aria-hidden": "true" });
  picture.append(drawn("rect", { width: 16, height: 16, fill: paint[0] }));
  if (paint[1] !== paint[0]) picture.append(drawn("rect", { x: 8, width: 8, height: 16, fill: paint[1] }));
  return picture;
}
