/* Curves along the path: a quantity against pressure; a ring marks state shown. */
import { chart, mark } from "./chart.js";
import { choice } from "./controls.js";
import { h, memo } from "./dom.js";
import { isNumber, span, valueOf, withUnit } from "./numbers.js";
import { heading } from "./readouts.js";

const HEIGHT = 210;
const APART = 14; // px between the tags at the ends of two curves
const CLEAR = 3; // px between a tag and the axis

/* The number of the colour of each curve: one colour per result, for all its models. */
export function coloursOf(views) {
  const names = [...new Set(views.map(({ name }) => name))];
  return views.map(({ name }) => names.indexOf(name) % 4);
}

/* Does the drive change at every step of all paths? If not, as when the free end is moved, points
   would lie above each other: the axis shows step numbers instead. */
function driven(views, drive) {
  const paths = views.map(({ steps }) =>
    steps.map(({ row }) => valueOf(row, drive)).filter(isNumber));
  const all = paths.flat();
  const least = 1e-3 * (Math.max(...all) - Math.min(...all));
  const moves = (value, k, path) => k === 0 || Math.abs(value - path[k - 1]) > least;
  return all.length > 0 && paths.every((path) => path.every(moves));
}

function curveOf(view, column, drive) {
  const points = [];
  view.steps.forEach(({ row }, step) => {
    const x = drive ? valueOf(row, drive) : step;
    const y = valueOf(row, column);
    if (isNumber(x) && isNumber(y)) points.push({ x, y, step });
  });
  return points;
}

/* Move the tags of curves that end side by side apart, none below `lowest`, where the ticks are. */
function spread(tags, lowest) {
  const sorted = [...tags].sort((a, b) => a.y - b.y);
  const isBeside = (one) => (other) => Math.abs(one.x - other.x) < APART;
  sorted.forEach((tag, k) => {
    for (const above of sorted.slice(0, k).filter(isBeside(tag))) {
      tag.y = Math.max(tag.y, above.y + APART);
    }
  });
  sorted.reverse().forEach((tag, k) => {
    tag.y = Math.min(tag.y, lowest);
    for (const below of sorted.slice(0, k).filter(isBeside(tag))) {
      tag.y = Math.min(tag.y, below.y - APART);
    }
  });
}

/* Curves of a quantity, and their ranges. */
function curvesOf(views, column, drive) {
  const byDrive = driven(views, drive);
  const curves = views.map((view) => curveOf(view, column, byDrive && drive));
  const all = curves.flat();
  const xs = all.map(({ x }) => x);
  const ys = all.map(({ y }) => y);
  return {
    byDrive, curves,
    across: all.length ? [Math.min(...xs), Math.max(...xs) + 1e-9] : [0, 1],
    along: span(all.length ? [...ys, 0] : [0, 1]),
  };
}

/* Curves in a chart: line, marks, and the number of the view at the end. */
function drawn({ x, y, frame }, curves, views) {
  const colours = coloursOf(views);
  const places = curves.map((curve) => curve.map((point) => ({ x: x(point.x), y: y(point.y) })));
  const ends = places.map((place) => place.at(-1));
  const tags = ends.map((end) => end && { x: end.x + 8, y: end.y + 4 });
  spread(tags.filter(Boolean), frame.y0 - CLEAR);
  return places.map((place, k) => {
    const { model } = views[k];
    const points = place.map((at) => `${at.x} ${at.y}`).join(" ");
    return h("g", { class: `tw-curve tw-${model} tw-result-${colours[k]}` },
      model !== "bench" && h("polyline", { points }),
      place.map((at) => mark(model, at.x, at.y)),
      tags[k] && h("text.tw-halo", tags[k], k + 1));
  });
}

/* A component: a chart, and above it the choice of its quantity. */
export function curveChart({ first }) {
  let name = first;
  const [found, base] = [memo(curvesOf), memo(drawn)];
  return ({ columns, drive, views, step }) => {
    const column = columns.find((one) => one.name === name);
    const by = columns.find((one) => one.name === drive);
    const { byDrive, curves, across, along } = found(views, column, by);
    const { title, unit, digits } = column;
    const ends = curves.map((curve, k) => {
      const end = curve.length ? curve.at(-1).y : NaN;
      return `${views[k].title} ends at ${withUnit(end, digits, unit)}`;
    });
    const now = curves.map((curve, k) => {
      const last = Math.min(step, views[k].steps.length - 1);
      return curve.find((point) => point.step === last);
    });
    return h("div.tw-curves",
      choice(
        columns.filter((one) => one !== by),
        (one) => ({ value: one.name, text: heading(one) }),
        {
          "aria-label": "Quantity of the chart", value: name,
          onchange: ({ target }) => (name = target.value),
        }),
      h(chart, {
        across, along,
        height: HEIGHT, title: byDrive ? heading(by) : "step",
        label: `${title} against ${byDrive ? by.title : "step"}: ${ends.join("; ")}`,
        base: (axes) => base(axes, curves, views),
        over: ({ x, y }) =>
          h("g.tw-curve",
            now.map((at) => at && h("circle.tw-now", { cx: x(at.x), cy: y(at.y), r: 8 }))),
      }));
  };
}

export function curveLegend(views, named) {
  const colours = coloursOf(views);
  const sample = (view, k) =>
    h("li",
      h("svg", {
        width: 34, height: 12, "aria-hidden": "true",
        class: `tw-curve tw-${view.model} tw-result-${colours[k]}`,
      },
        view.model !== "bench" && h("polyline", { points: "0 6 34 6" }),
        mark(view.model, 17, 6)),
      h("b.tw-tag", k + 1),
      h("span", named && `${view.name}, `, view.title));
  return h("ul.tw-samples",
    views.map(sample),
    h("li",
      h("svg.tw-curve", { width: 34, height: 18, "aria-hidden": "true" },
        h("circle.tw-now", { cx: 17, cy: 9, r: 7.5 })),
      " state shown"));
}
