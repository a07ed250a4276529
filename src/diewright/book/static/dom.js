// Building the page from strings that are always text, never markup.

const SVG = "http://www.w3.org/2000/svg";

function fill(node, props, children) {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "dataset") Object.assign(node.dataset, value);
    else if (name === "css") for (const [k, v] of Object.entries(value)) node.style.setProperty(k, v);
    else if (name === "value" || name === "checked" || name === "disabled" || name === "selected" || name === "open") node[name] = value;
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  add(node, children);
  return node;
}

export function add(node, children) {
  for (const child of [children].flat(Infinity)) {
    if (child === null || child === undefined || child === false) continue;
    node.append(child instanceof Node ? child : document.createTextNode(String(child)));
  }
  return node;
}

/** An HTML element: h("p", {class: "quiet"}, "words", otherElement). */
export function h(tag, props, ...children) {
  return fill(document.createElement(tag), props, children);
}

/** An SVG element. */
export function s(tag, props, ...children) {
  return fill(document.createElementNS(SVG, tag), props, children);
}

/** Empty a node and put the children in. */
export function put(node, ...children) {
  node.replaceChildren();
  return add(node, children);
}

/** Run `draw` only when `key` differs from the last call for this node. Keeps focus and open folds when nothing changed. */
export function memo(node, key, draw) {
  const text = typeof key === "string" ? key : JSON.stringify(key);
  if (node.memoKey === text) return false;
  node.memoKey = text;
  draw(node);
  return true;
}

let counter = 0;
export const uid = (stem = "n") => `${stem}-${++counter}`;

/** Calls `fn` once things have been quiet for `ms`. */
export function calm(fn, ms) {
  let timer = 0;
  const call = (...args) => {
    clearTimeout(timer);
    timer = setTimeout(() => fn(...args), ms);
  };
  call.cancel = () => clearTimeout(timer);
  return call;
}

export const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/** Hand a blob to the person as a file. */
export function download(blob, name) {
  const url = URL.createObjectURL(blob);
  const link = h("a", { href: url, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 2000);
}
