/* A study: a setting is chosen by its values, or by a point in the chart of all settings. */
import { chart, mark } from "./chart.js";
import { field, listField } from "./controls.js";
import { h, memo, newId } from "./dom.js";
import { capital, isNumber, span, withUnit } from "./numbers.js";
import { heading } from "./readouts.js";

const HEIGHT = 300;
const MAX_DISTANCE = 24; // px between a click and the point that it selects
const MAX_VALUES = 60; // of a quantity that is chosen from a list

function different(settings, k) {
  const values = [...new Set(settings.map((setting) => setting.values[k]))];
  return values.every(isNumber) ? values.sort((a, b) => a - b) : values;
}

/* The quantities that vary and their values; empty if lists would be long or have many gaps. */
function lists({ axes, settings }) {
  const all = axes.map((axis, k) => ({ ...axis, values: different(settings, k) }));
  const many = all.reduce((product, { values }) => product * values.length, 1);
  const few = all.every(({ values }) => values.length <= MAX_VALUES);
  return few && settings.length > many / 2 ? all : [];
}

const digits = (value) => Math.min(3, (String(value).split(".")[1] ?? "").length);
const textOfValue = (value, unit) =>
  typeof value === "number" ? withUnit(value, digits(value), unit) : value;

/* A component: the fields to choose a setting. */
export function studyChoice({ study: { axes, settings } }) {
  const offered = lists({ axes, settings });
  const id = newId();
  return ({ chosen, choose }) => {
    const current = settings[chosen].values;
    /* The setting that differs from the chosen one in its k-th value only; -1 if there is none. */
    const other = (k, value) => {
      const changed = current.map((old, j) => (j === k ? value : old));
      return settings.findIndex(({ values }) => values.every((one, j) => one === changed[j]));
    };
    const list = ({ title, unit, values }, k) => {
      const option = (value, n) => ({
        value: n, disabled: other(k, value) < 0, text: textOfValue(value, unit),
      });
      const set = (n) => choose(other(k, values[n]));
      const now = values.indexOf(current[k]);
      return listField(capital(title), `${id}-${k}`, now, values, option, set);
    };
    const number = {
      min: 1, max: settings.length, value: chosen + 1,
      oninput: ({ target: { valueAsNumber } }) =>
        settings[valueAsNumber - 1] && choose(valueAsNumber - 1),
    };
    return h("form.tw-setting", { onsubmit: (event) => event.preventDefault() },
      offered.map(list),
      !offered.length &&
        field(`Setting, 1 to ${settings.length}`, id,
          h("input", { type: "range", "aria-label": "Setting, slider", ...number }),
          h("input", { id, type: "number", ...number })),
      h("p.tw-note", { role: "status" },
        axes.map(({ title, unit }, k) => `${title} ${textOfValue(current[k], unit)}`).join(", ")));
  };
}

const dots = (places) =>
  places.map(({ classes, points }) => {
    const d = points
      .filter(Boolean)
      .map(([x, y]) => `M${x.toFixed(1)} ${y.toFixed(1)}h0`)
      .join("");
    return h("path", { class: classes, d });
  });

/* A component: a chart with a point for each setting; the chosen one has a ring, a click on another
   point chooses it. */
export function studyMap({ study: { reach, settings } }) {
  const names = Object.keys(reach.models);
  const [right, up] = reach.columns;
  const known = Object.values(reach.models).flat().filter(Boolean);
  const values = (k) => (known.length ? [...known.map((point) => point[k]), 0] : [0, 1]);
  const [across, along] = [span(values(0)), span(values(1))];
  const placesOf = memo(({ x, y }) =>
    names.map((model) => ({
      model, classes: `tw-dots tw-dots-${model}`,
      points: reach.models[model].map((point) => point && [x(point[0]), y(point[1])]),
    })));
  const base = memo(dots);
  let places = [];
  const nearest = ({ offsetX, offsetY }) => {
    const far = ([x, y]) => Math.hypot(x - offsetX, y - offsetY);
    const [least, found] = places
      .flatMap(({ points }) => points.map((at, k) => [at ? far(at) : Infinity, k]))
      .reduce((best, one) => (one[0] < best[0] ? one : best), [MAX_DISTANCE, -1]);
    return least < MAX_DISTANCE ? found : null;
  };
  const ring = ({ model, points }, chosen) => {
    const [x, y] = points[chosen];
    return h("g", { class: `tw-curve tw-${model}` },
      h("circle.tw-disc", { cx: x, cy: y, r: 9 }), mark(model, x, y, 4.5));
  };
  return ({ titles, chosen, choose }) => {
    const pick = (event) => {
      const found = nearest(event);
      if (found !== null) choose(found);
    };
    return h("div", { onclick: pick },
      h("p.tw-above", `${heading(up)}, ${reach.where}`),
      h(chart, {
        across, along,
        height: HEIGHT, title: heading(right),
        label:
          `Results of ${settings.length} settings ${reach.where}: ` +
          `${up.title} against ${right.title}; click a point to choose its setting`,
        base(axes) {
          places = placesOf(axes);
          return base(places);
        },
        over: () =>
          places.filter(({ points }) => points[chosen]).map((place) => ring(place, chosen)),
      }),
      h("ul.tw-samples",
        names.map((model) =>
          h("li",
            h("svg", { width: 14, height: 12, "aria-hidden": "true" },
              h("path", { class: `tw-dots tw-dots-${model}`, d: "M7 6h0" })),
            ` ${titles[model]}`))));
  };
}
