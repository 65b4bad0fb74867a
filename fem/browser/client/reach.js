/* The reachable set: two quantities for all angles at a few pressures, with the states of the
   explorer. */
import { chart, mark } from "./chart.js";
import { h, memo } from "./dom.js";
import { span, valueOf, withUnit } from "./numbers.js";
import { heading } from "./readouts.js";

const HEIGHT = 340;

/* Twice the area of a quadrilateral; negative if its corners are in clockwise order. */
const area = ([a, b, c, d]) => (c[0] - a[0]) * (d[1] - b[1]) - (d[0] - b[0]) * (c[1] - a[1]);

/* The cells of a grid of points, all with the same orientation: equal families reach each place
   twice, and opposite orientations would cancel in the fill. Cells with a missing corner are
   omitted. */
function cellsOf({ grid: [rows, columns], points }) {
  if (rows === 1 || columns === 1) return [points.filter(Boolean)]; // a line
  const at = (i, j) => points[i * columns + j];
  const cells = [];
  for (let i = 0; i + 1 < rows; i += 1) {
    for (let j = 0; j + 1 < columns; j += 1) {
      const corners = [at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j)];
      if (!corners.every(Boolean)) continue;
      cells.push(area(corners) < 0 ? corners.reverse() : corners);
    }
  }
  return cells;
}

/* Cells as one SVG path; only cells with four corners are closed. */
function cellPath(cells, x, y) {
  const line = (corners) => corners.map((p) => `${x(p[0]).toFixed(1)} ${y(p[1]).toFixed(1)}`);
  return cells
    .filter((corners) => corners.length > 1)
    .map((corners) => `M${line(corners).join("L")}${corners.length === 4 ? "Z" : ""}`)
    .join("");
}

/* The range of all values, and zero. */
const rangeOf = (k, levels, states) =>
  span([...levels.flatMap((level) => level.known.map((p) => p[k])), ...states, 0]);

/* The levels of pressure, the highest first: lower ones are drawn on top. */
const drawn = ({ x, y }, levels, { unit }) => {
  const found = levels
    .filter((level) => level.known.length)
    .sort((one, other) => other.pressure - one.pressure);
  const name = ({ known, pressure }) => {
    const [d, t] = known.reduce((top, p) => (p[1] > top[1] ? p : top));
    const text = withUnit(pressure, 1, unit).replace(".0", "");
    const place = { x: x(d), y: Math.max(y(t) - 5, 11), "text-anchor": "middle" };
    return h("text.tw-halo", place, text);
  };
  return [
    found.map(({ cells }, k) =>
      h("path", { class: `tw-level-${Math.min(k, 3)}`, d: cellPath(cells, x, y) })),
    found.map(name),
  ];
};

/* The states: white discs, then marks with their numbers. */
function marksOf({ x, y }, states) {
  const least = Math.min(...states.map(({ across }) => across));
  const places = states.map((state) => ({ ...state, cx: x(state.across), cy: y(state.along) }));
  const tag = ({ across, cx, cy }, k) => {
    const left = states.length > 1 && across === least; // away from the other one
    const place = { x: cx + (left ? -13 : 13), y: cy + 4, "text-anchor": left ? "end" : "start" };
    return h("text.tw-halo", place, k + 1);
  };
  return [
    places.map(({ cx, cy }) => h("circle.tw-disc", { cx, cy, r: 10 })),
    places.map((place, k) =>
      h("g", { class: `tw-curve tw-point tw-${place.model}` },
        // a disc in a square: both are visible at the same place
        mark(place.model, place.cx, place.cy, place.model === "fe" ? 3.5 : 6),
        tag(place, k))),
  ];
}

/* A component: the chart of the reachable set. */
export function reachMap() {
  const levelsOf = memo(({ levels }) =>
    levels.map((level) => {
      const cells = cellsOf(level);
      return { pressure: level.pressure, cells, known: cells.flat() };
    }));
  const base = memo(drawn);
  return ({ reach, views }) => {
    const levels = levelsOf(reach);
    const [right, up] = reach.columns;
    const states = views.map(({ model, title, steps }) => {
      const { row } = steps.at(-1);
      const [across, along] = reach.columns.map((one) => valueOf(row, one));
      return { model, title, across, along };
    });
    const at = (value, { title, unit }) => `${title} ${withUnit(value, 2, unit)}`;
    const places = states.map(
      ({ title, across, along }) => `${title} at ${at(across, right)}, ${at(along, up)}`);
    return h("div",
      h("p.tw-above", heading(up)),
      h(chart, {
        across: rangeOf(0, levels, states.map(({ across }) => across)),
        along: rangeOf(1, levels, states.map(({ along }) => along)), height: HEIGHT,
        title: heading(right),
        label: `Reachable set, ${up.title} against ${right.title}: ${places.join("; ")}`,
        base: (axes) => base(axes, levels, reach.drive), over: (axes) => marksOf(axes, states),
      }));
  };
}
