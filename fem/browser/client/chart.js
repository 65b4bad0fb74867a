/* The frame of a chart: round axes on finely ruled paper, as wide as there is room. */
import { h, memo, redraw } from "./dom.js";
import { axis, shown, ticks } from "./numbers.js";

const LEFT = 52;
const RIGHT = 26;
const TOP = 12;
const BOTTOM = 40;

/* The axes of a chart of a given size in px: maps from values to places, ticks, frame. */
function axesOf(low, high, least, most, width, height) {
  const [x0, x1, y0, y1] = [LEFT, Math.max(width - RIGHT, LEFT + 10), height - BOTTOM, TOP];
  const x = axis([low, high], [x0, x1]);
  const y = axis([least, most], [y0, y1]);
  const marksOf = ([low, high], count, place) => {
    const { values, digits } = ticks(low, high, count);
    return values.map((value) => ({ at: place(value), text: shown(value, digits) }));
  };
  return {
    x, y,
    frame: { x0, x1, y0, y1 }, right: marksOf([low, high], (x1 - x0) / 70, x),
    up: marksOf([least, most], (y0 - y1) / 42, y),
  };
}

/* What stands below all curves: fine rules, axes, numbers, the title of the axis across. */
const paper = ({ frame: { x0, x1, y0, y1 }, right, up }, title, height) => [
  h("g.tw-ruled",
    right.map(({ at }) => h("path", { d: `M${at} ${y0}V${y1}` })),
    up.map(({ at }) => h("path", { d: `M${x0} ${at}H${x1}` }))),
  h("path.tw-axis", { d: `M${x0} ${y1}V${y0}H${x1}` }),
  right.map(({ at, text }) => h("text", { x: at, y: y0 + 16, "text-anchor": "middle" }, text)),
  up.map(({ at, text }) => h("text", { x: x0 - 6, y: at + 4, "text-anchor": "end" }, text)),
  h("text.tw-across", { x: x1, y: height - 6, "text-anchor": "end" }, title),
];

/* A chart over the ranges `across` and `along`. What moves belongs into `over(axes)`, a layer of
   its own: what `base(axes)` returns stays painted. */
export function chart() {
  let width = 400;
  const watcher = new ResizeObserver(([entry]) => {
    width = entry.contentRect.width;
    redraw();
  });
  const [axes, ground] = [memo(axesOf), memo(paper)];
  return ({ across, along, height, title, label, base, over }) => {
    const now = axes(...across, ...along, width, height);
    return h("div.tw-chart",
      { made: (box) => watcher.observe(box), gone: () => watcher.disconnect() },
      h("svg", { width, height, role: "img", "aria-label": label },
        ground(now, title, height), h("g", base(now))),
      h("svg.tw-over", { width, height, "aria-hidden": "true" }, over(now)));
  };
}

/* A point of a curve by the model it is of: a disc, a square or a cross. */
export function mark(model, x, y, size = 3.5) {
  if (model === "fe") return h("circle.tw-full", { cx: x, cy: y, r: size });
  const [left, top, wide] = [x - size, y - size, 2 * size];
  if (model === "fast") return h("rect.tw-open", { x: left, y: top, width: wide, height: wide });
  const cross = `M${left} ${top}l${wide} ${wide}m0 ${-wide}l${-wide} ${wide}`;
  return h("path.tw-open", { d: cross });
}
