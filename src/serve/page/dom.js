// The few things that the page does with its elements. Text goes in as text, never as markup.

export const at = (id) => document.getElementById(id);

/** An element with properties and children; text children become text. */
export function el(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value == null || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "class") node.className = value;
    else if (name in node && typeof value !== "string") node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.filter((child) => child != null && child !== false));
  return node;
}

const SVG = "http://www.w3.org/2000/svg";

/** An SVG element. */
export function draw(tag, props = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(props)) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

/** Sets a text, and only if it is another one. */
export function put(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** Sets an attribute, and only if it is another one; null takes it away. */
export function mark(node, name, value) {
  if (value == null) { if (node.hasAttribute(name)) node.removeAttribute(name); return; }
  if (node.getAttribute(name) !== value) node.setAttribute(name, value);
}

/** Puts these children in place of what was there, if the key is another one. */
export function refill(node, key, children) {
  const known = JSON.stringify(key);
  if (node.dataset.key === known) return false;
  node.dataset.key = known;
  node.replaceChildren(...children());
  return true;
}

/** Makes these the children of a place, in this order; what is in its place is not touched. */
export function arrange(into, nodes) {
  for (const child of [...into.children]) if (!nodes.includes(child)) child.remove();
  nodes.forEach((node, place) => {
    if (into.children[place] !== node) into.insertBefore(node, into.children[place] ?? null);
  });
}
