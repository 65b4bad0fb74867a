/* The frame of a chart: axes with round numbers and grid lines, as wide as its place. */
import { h, memo, redraw } from "./dom.js";
import { axis, formatted, ticks } from "./numbers.js";

const LEFT = 52;
const RIGHT = 26;
const TOP = 12;
const BOTTOM = 40;

/* The axes of a chart of a given size (px): maps from values to places, ticks, frame. */
function axesOf(low, high, least, most, width, height) {
  const [x0, x1, y0, y1] = [LEFT, Math.max(width - RIGHT, LEFT + 10), height - BOTTOM, TOP];
  const x = axis([low, high], [x0, x1]);
  const y = axis([least, most], [y0, y1]);
  const marksOf = ([low, high], count, place) => {
    const { values, digits } = ticks(low, high, count);
    return values.map((value) => ({ at: place(value), text: formatted(value, digits) }));
  };
  return {
    x, y,
    frame: { x0, x1, y0, y1 }, right: marksOf([low, high], (x1 - x0) / 70, x),
    up: marksOf([least, most], (y0 - y1) / 42, y),
  };
}

/* The layer below the curves: grid lines, axes, numbers, the title of the horizontal axis. */
const gridOf = ({ frame: { x0, x1, y0, y1 }, right, up }, title, height) => [
  h("g.tw-grid",
    right.map(({ at }) => h("path", { d: `M${at} ${y0}V${y1}` })),
    up.map(({ at }) => h("path", { d: `M${x0} ${at}H${x1}` }))),
  h("path.tw-axis", { d: `M${x0} ${y1}V${y0}H${x1}` }),
  right.map(({ at, text }) => h("text", { x: at, y: y0 + 16, "text-anchor": "middle" }, text)),
  up.map(({ at, text }) => h("text", { x: x0 - 6, y: at + 4, "text-anchor": "end" }, text)),
  h("text.tw-across", { x: x1, y: height - 6, "text-anchor": "end" }, title),
];

/* A chart over the ranges `across` and `along`. Moving parts belong into `over(axes)`, a separate
   layer, so that the browser does not repaint `base(axes)`. */
export function chart() {
  let width = 400;
  const watcher = new ResizeObserver(([entry]) => {
    width = entry.contentRect.width;
    redraw();
  });
  const [axes, grid] = [memo(axesOf), memo(gridOf)];
  return ({ across, along, height, title, label, base, over }) => {
    const now = axes(...across, ...along, width, height);
    return h("div.tw-chart",
      { added: (box) => watcher.observe(box), removed: () => watcher.disconnect() },
      h("svg", { width, height, role: "img", "aria-label": label },
        grid(now, title, height), h("g", base(now))),
      h("svg.tw-over", { width, height, "aria-hidden": "true" }, over(now)));
  };
}

/* A point of a curve: a disc, a square or a cross, by model. */
export function mark(model, x, y, size = 3.5) {
  if (model === "fe") return h("circle.tw-full", { cx: x, cy: y, r: size });
  const [left, top, wide] = [x - size, y - size, 2 * size];
  if (model === "fast") return h("rect.tw-open", { x: left, y: top, width: wide, height: wide });
  const cross = `M${left} ${top}l${wide} ${wide}m0 ${-wide}l${-wide} ${wide}`;
  return h("path.tw-open", { d: cross });
}
