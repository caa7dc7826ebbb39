// Builds elements, and brings a tree that is shown to a new form without losing focus or scroll.

/** Make an element: h("p", {class: "quiet"}, "text", child, [more]). */
export function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false) continue;
    element.append(child);
  }
  return element;
}

/** Make the children of `shown` like `wanted`, an array of nodes and texts. */
export function fill(shown, wanted) {
  const nodes = wanted.flat(Infinity).filter((one) => one || one === 0)
    .map((one) => (one instanceof Node ? one : document.createTextNode(one)));
  const old = [...shown.childNodes];
  nodes.forEach((node, i) => (i < old.length ? patch(old[i], node) : shown.append(node)));
  old.slice(nodes.length).forEach((node) => node.remove());
}

function patch(shown, wanted) {
  if (shown.nodeType !== wanted.nodeType || shown.nodeName !== wanted.nodeName ||
      shown.dataset?.key !== wanted.dataset?.key) {
    shown.replaceWith(wanted);
    return;
  }
  if (shown.nodeType === Node.TEXT_NODE) {
    if (shown.data !== wanted.data) shown.data = wanted.data;
    return;
  }
  for (const { name } of [...shown.attributes]) {
    // An open <details> stays as the reader left it.
    if (!wanted.hasAttribute(name) && name !== "open") shown.removeAttribute(name);
  }
  for (const { name, value } of wanted.attributes) {
    if (shown.getAttribute(name) !== value) shown.setAttribute(name, value);
  }
  fill(shown, [...wanted.childNodes]);
}
