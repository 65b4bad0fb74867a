/* Keys of the shapes: a colour bar for each quantity, samples of lines. */
import { h } from "./dom.js";
import { axis, formatted, ticks, withUnit } from "./numbers.js";
import { heading } from "./readouts.js";

const STOPS = 24;
const rgb = ([red, green, blue]) => `rgb(${red} ${green} ${blue})`;

function gradient(colours) {
  const last = colours.length / 3 - 1;
  const stops = Array.from({ length: STOPS + 1 }, (_, k) => {
    const at = 3 * Math.round((k / STOPS) * last);
    return rgb(colours.slice(at, at + 3));
  });
  return `linear-gradient(to right, ${stops.join(", ")})`;
}

const bar = ([name, scale]) => {
  const { title, unit, low, high, colours } = scale;
  const { values, digits } = ticks(low, high, 4);
  const place = axis([low, high], [0, 100]);
  const text = (value) => withUnit(value, digits, unit);
  return h("figure.tw-key", { key: name },
    h("figcaption", heading(scale)),
    h("div.tw-colours", {
      role: "img", "aria-label": `${title} from ${text(low)} to ${text(high)}, by colour`,
      style: `background: ${gradient(colours)}`,
    }),
    h("div.tw-ticks", { "aria-hidden": "true" },
      values.map((value) =>
        h("span", { style: `left: ${place(value)}%` }, formatted(value, digits)))));
};

const sample = (path, title) =>
  h("li", h("svg", { width: 34, height: 10, "aria-hidden": "true" }, h("path", path)), title);

/* `fixed`: the scales are the same for all settings. */
export function colourKeys(scales, { marks, start }, fixed) {
  const of = (key) => rgb(key.colour.map((share) => Math.round(255 * share)));
  const none = scales.tension && {
    d: "M0 5H34", stroke: rgb(scales.tension.none), "stroke-width": 1.6,
    "stroke-dasharray": "6 4",
  };
  const tube = { d: "M0 2H34M0 8H34M6 0V10M28 0V10", stroke: of(start), fill: "none" };
  return h("div.tw-keys",
    Object.entries(scales).map(bar),
    h("ul.tw-samples",
      none && sample(none, scales.tension.none_title),
      sample({ d: "M0 5H34", stroke: of(marks), "stroke-width": 5 }, marks.title),
      sample(tube, start.title)),
    fixed && h("p.tw-note",
      "The scales are the same for all settings; they differ from those in the section Path. ",
      "Values above the scale take the end colour."));
}
