/* Updates the document to what components return, without a framework.

   `h(tag, attributes, ...children)` describes an element. Attributes are optional, a class follows
   the tag after a dot, a child such as false, 0 or "" is omitted. A tag that is a function is a
   component: it is called once with its attributes, and returns the function that describes it.
   Attributes: `on...` is a listener; `added` and `removed` are called with the element when it is
   added or removed; elements with different `key` are never reused. After each event, unless its
   listener returns UNCHANGED, everything is described again and the document is updated. */

const SVG = "http://www.w3.org/2000/svg";
const SILENT = new Set(["key", "added", "removed"]);
const BY_USER = new Set(["value", "checked"]); // the user changes them, too
const roots = [];
let scheduled = false;
let ids = 0;

class Described {}

const child = (one) => (one instanceof Described ? one : { text: String(one || "") });

export const UNCHANGED = Symbol("unchanged");

export function h(what, ...children) {
  const attributes = children[0]?.constructor === Object ? { ...children.shift() } : {};
  const [tag, ...classes] = typeof what === "string" ? what.split(".") : [what];
  if (classes.length) attributes.class = [...classes, attributes.class ?? ""].join(" ").trim();
  const described = { tag, attributes, children: children.flat(Infinity).map(child) };
  return Object.assign(new Described(), described);
}

/* Describe everything again, soon. */
export function redraw() {
  if (scheduled) return;
  scheduled = true;
  queueMicrotask(() => {
    scheduled = false;
    for (const draw of roots) draw();
  });
}

/* Show a component in `place`. */
export function mount(component, attributes, place) {
  let shown = h(component, attributes);
  place.append(create(shown));
  roots.push(() => {
    const next = h(component, attributes);
    update(shown, next);
    shown = next;
  });
}

/* An id that is unique on the page, also with several scenes. */
export const newId = () => `tw-${(ids += 1)}`;

/* `work` with its last result stored: it is called again when an input is another object. Stored
   elements must be all the children of an element, or the only one in their place. */
export function memo(work) {
  let [known, result] = [null, null];
  return (...inputs) => {
    if (!known || inputs.some((input, k) => input !== known[k])) {
      known = inputs;
      result = work(...inputs);
    }
    return result;
  };
}

function create(node, inSvg = false) {
  const { tag, attributes } = node;
  if (tag === undefined) node.dom = document.createTextNode(node.text);
  else if (typeof tag === "function") {
    node.draw = tag(attributes);
    node.drawn = node.draw(attributes);
    node.dom = create(node.drawn, inSvg);
  } else {
    const svg = inSvg || tag === "svg";
    node.dom = svg ? document.createElementNS(SVG, tag) : document.createElement(tag);
    node.dom.append(...node.children.map((one) => create(one, svg)));
    setAttributes(node.dom, {}, attributes);
    attributes.added?.(node.dom);
  }
  return node.dom;
}

function update(old, node, inSvg = false) {
  if (old === node) return;
  if (old.tag !== node.tag || old.attributes?.key !== node.attributes?.key) {
    old.dom.replaceWith(create(node, inSvg));
    remove(old);
    return;
  }
  node.dom = old.dom;
  if (node.tag === undefined) {
    if (old.text !== node.text) node.dom.data = node.text;
  } else if (typeof node.tag === "function") {
    node.draw = old.draw;
    node.drawn = node.draw(node.attributes);
    update(old.drawn, node.drawn, inSvg);
    node.dom = node.drawn.dom;
  } else {
    updateChildren(old, node, inSvg || node.tag === "svg");
    setAttributes(node.dom, old.attributes, node.attributes);
  }
}

function updateChildren({ children: before }, { dom, children: now }, inSvg) {
  now.slice(0, before.length).forEach((one, k) => update(before[k], one, inSvg));
  dom.append(...now.slice(before.length).map((one) => create(one, inSvg)));
  for (const one of before.slice(now.length)) {
    one.dom.remove();
    remove(one);
  }
}

function remove({ attributes, children, drawn, dom }) {
  attributes?.removed?.(dom);
  if (drawn) remove(drawn);
  children?.forEach(remove);
}

const listener = (action) => (event) => {
  if (action(event) !== UNCHANGED) redraw();
};

function setAttributes(dom, before, now) {
  for (const [name, value] of Object.entries({ ...before, ...now })) {
    if (SILENT.has(name)) continue;
    if (BY_USER.has(name)) {
      if (String(dom[name]) !== String(value)) dom[name] = value;
    } else if (!(name in now) || value === false) dom.removeAttribute(name);
    else if (value === before[name]) continue;
    else if (name.startsWith("on")) dom[name] = listener(value);
    else if (name === "style") dom.style.cssText = value;
    else dom.setAttribute(name, value === true ? "" : value);
  }
}
