// Small helpers that write to the page only what changed. Text is only ever written as text.

export const byId = (id) => document.getElementById(id);

export function text(element, words) {
  if (element && element.textContent !== words) element.textContent = words;
}

export function attribute(element, name, value) {
  if (value === null || value === undefined || value === false) element.removeAttribute(name);
  else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
}

export function make(tag, className = "", ...children) {
  const element = document.createElement(tag);
  if (className) element.className = className;
  element.append(...children);
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

export function svg(tag, attributes = {}) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}

export function shape() {
  const element = svg("svg", { class: "shape", "aria-hidden": "true" });
  element.append(svg("use"));
  return element;
}

// `place` is a shape, or an element that holds one.
export function setShape(place, look) {
  if (place.localName !== "svg" && !place.firstElementChild) place.append(shape());
  attribute(place.localName === "svg" ? place.firstElementChild : place.firstElementChild.firstElementChild, "href", `#shape-${look}`);
}

// One child for each item, in the items' order, kept as long as its key stays.
export function list(parent, items, keyOf, create, update) {
  const old = new Map(Array.from(parent.children, (child) => [child.dataset.key, child]));
  items.forEach((item, place) => {
    const key = keyOf(item);
    let child = old.get(key);
    if (child) old.delete(key);
    else {
      child = create(item);
      child.dataset.key = key;
    }
    if (parent.children[place] !== child) parent.insertBefore(child, parent.children[place] ?? null);
    update(child, item);
  });
  old.forEach((child) => child.remove());
}
