// Elements without markup: text is always text; only fragments made by the server's own sheets go in as they are.

export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (value === true) node.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) node.setAttribute(name, value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

export function svg(tag, attributes = {}, ...children) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

export function fill(node, ...children) {
  node.replaceChildren(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

const HEADINGS = "h1,h2,h3,h4";
const depth = (heading) => Number(heading.tagName[1]);

// Headings of a fragment follow the one before it without a gap.
function raise(node) {
  const inside = [...node.querySelectorAll(HEADINGS)];
  const before = [...document.querySelectorAll(HEADINGS)].filter((one) => one.compareDocumentPosition(node) & Node.DOCUMENT_POSITION_FOLLOWING);
  if (!inside.length || !before.length) return;
  const gap = Math.min(...inside.map(depth)) - depth(before.at(-1)) - 1;
  for (const heading of gap > 0 ? inside : []) heading.replaceWith(el(`h${depth(heading) - gap}`, {}, ...heading.childNodes));
}

// A fragment that the server made of a sheet or a drawing, where every text went through one place that makes it safe. What is
// wider than the page is scrolled by the arrow keys, too.
export function put(node, html) {
  node.innerHTML = html;
  for (const wide of node.querySelectorAll(".wide,pre")) wide.tabIndex = 0;
  raise(node);
  return node;
}

const line = (id) => (text) => {
  const node = document.getElementById(id);
  if (node && node.textContent !== text) node.textContent = text;
};

export const say = line("said");
export const trouble = line("trouble");

export const isTyping = (event) => {
  const { target } = event;
  return target instanceof Element && target.matches("input:not([type=checkbox],[type=radio],[type=range]),select,textarea");
};

// Keeps what somebody chose for the next time, in this browser alone.
export const kept = {
  read: (name, otherwise) => {
    try { return localStorage.getItem(`bench.${name}`) ?? otherwise; } catch { return otherwise; }
  },
  write: (name, value) => {
    try { localStorage.setItem(`bench.${name}`, value); } catch { /* a browser that keeps nothing */ }
  },
};
