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

/**
 * Make the children of `shown` like `wanted`, an array of nodes and texts. An element with a
 * data-key stays the same element wherever it stands, so that what is open or has the focus stays.
 */
export function fill(shown, wanted) {
  const nodes = wanted.flat(Infinity).filter((one) => one || one === 0)
    .map((one) => (one instanceof Node ? one : document.createTextNode(one)));
  const before = [...shown.childNodes];
  const keyed = new Map(before.filter((one) => one.dataset?.key).map((one) => [one.dataset.key, one]));
  const kept = new Set();
  let at = shown.firstChild;
  for (const node of nodes) {
    const key = node.dataset?.key;
    const same = key ? keyed.get(key) : at && !at.dataset?.key && isLike(at, node) ? at : null;
    if (same && isLike(same, node)) {
      if (same !== at) shown.insertBefore(same, at);
      kept.add(same);
      patch(same, node);
      at = same.nextSibling;
    } else {
      shown.insertBefore(node, at);
      if (at && !at.dataset?.key && !key) at = at.nextSibling;
    }
  }
  before.filter((one) => !kept.has(one)).forEach((one) => one.remove());
}

const isLike = (one, other) => one.nodeType === other.nodeType && one.nodeName === other.nodeName;

/** Make one node like another of its kind. */
function patch(shown, wanted) {
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
