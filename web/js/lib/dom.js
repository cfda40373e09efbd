/** Elements from plain descriptions. Text always goes in as text, never as markup. */

const SVG = "http://www.w3.org/2000/svg";

/** @returns an HTML element with `attributes` and `children` (nodes or text; null is left out). */
export function el(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

/** The same for SVG. */
export function svg(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

/** Attributes: null, undefined and false take one away, true sets it empty. */
export function set(node, attributes) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) node.removeAttribute(name);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
}

/** Writes text only where it differs, so that live regions speak once. */
export function write(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function filled(node, attributes, children) {
  set(node, attributes);
  node.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return node;
}
