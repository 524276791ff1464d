// Elements made by name: el for HTML, sv for SVG. Nothing here writes markup from text, so nothing can be smuggled in.

const SVG = "http://www.w3.org/2000/svg";

function filled(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "text") node.textContent = value;
    else if (name === "value") node.value = value;
    else if (name === "checked" || name === "disabled" || name === "hidden" || name === "selected" || name === "open")
      node[name] = Boolean(value);
    else node.setAttribute(name, value === true ? "" : value);
  }
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false) continue;
    node.append(child);
  }
  return node;
}

/** An HTML element with attributes, listeners ("onclick") and children. */
export function el(tag, attributes, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

/** An SVG element. */
export function sv(tag, attributes, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

/** Put children into a box; lists are taken apart, and what is nothing is left out. */
export function add(box, ...children) {
  return filled(box, null, children);
}

/** The element of the page with this id. */
export function at(id) {
  return document.getElementById(id);
}

/** Path data through points [[x, y], ...] in drawing units. */
export function path(points, closed = false) {
  let text = "";
  for (let k = 0; k < points.length; k++) {
    text += `${k ? "L" : "M"}${points[k][0].toFixed(1)} ${points[k][1].toFixed(1)}`;
  }
  return closed ? `${text}Z` : text;
}

/** Calls `work` once things have been quiet for `quiet` ms; the last arguments win. */
export function settled(work, quiet) {
  let timer = 0;
  const call = (...given) => {
    clearTimeout(timer);
    timer = setTimeout(() => work(...given), quiet);
  };
  call.cancel = () => clearTimeout(timer);
  return call;
}

const sizes = new Map();

/** Remember the size of a box until it changes, and call `changed` when it does: asking the page each time is slow. */
export function watchSize(node, changed) {
  sizes.set(node, null);
  new ResizeObserver(() => {
    sizes.set(node, null);
    changed();
  }).observe(node);
}

/** Forget all sizes: the sheet is being laid out anew within this moment. */
export function forgetSizes() {
  for (const node of sizes.keys()) sizes.set(node, null);
}

/** Size of a box on the page in CSS pixels, and the size of its ordinary letters. */
export function boxOf(node) {
  const known = sizes.get(node);
  if (known) return known;
  const box = measured(node);
  if (known === null) sizes.set(node, box);
  return box;
}

function measured(node) {
  const letters = parseFloat(getComputedStyle(node).fontSize) || 16;
  return { width: Math.max(node.clientWidth, 40), height: Math.max(node.clientHeight, 40), letters };
}

/** A canvas made as sharp as the screen: its drawing context, scaled so that units are CSS pixels. */
export function sharp(canvas) {
  const { width, height, letters } = boxOf(canvas);
  const ratio = Math.min(window.devicePixelRatio || 1, 3);
  const columns = Math.round(width * ratio);
  const rows = Math.round(height * ratio);
  if (canvas.width !== columns || canvas.height !== rows) {
    canvas.width = columns;
    canvas.height = rows;
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  return { pen, width, height, letters, ratio };
}
