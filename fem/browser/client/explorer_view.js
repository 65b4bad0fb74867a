/* The view of the live explorer: sliders, shapes, values and the reachable set. */
import { button, check, listField } from "./controls.js";
import { h, memo, newId } from "./dom.js";
import { Explorer } from "./explorer.js";
import { colourKeys } from "./keys.js";
import { displayBar } from "./display.js";
import { capital, typedNumber } from "./numbers.js";
import { reachMap } from "./reach.js";
import { readouts } from "./readouts.js";
import { server } from "./server.js";
import { shapeRow } from "./shape.js";

const stay = (event) => event.preventDefault();

/* Why a typed number is not allowed; empty if it is. */
function refusal(value, { low, high, unit }) {
  const tolerance = 1e-9 * (high - low); // the ends are rounded
  if (value >= low - tolerance && value <= high + tolerance) return "";
  const text = (number) => typedNumber(number, unit);
  if (!Number.isFinite(value)) return `a number from ${text(low)} to ${text(high)} is required`;
  return `${text(value)} is outside ${text(low)} to ${text(high)}`;
}

/* A component: a number by slider or keyboard; a value that is not allowed stays in the field. */
export function numberSlide({ value: first }) {
  let [text, fault] = [String(first), ""];
  return ({ title, low, high, unit, by, value, id, set, refuse }) => {
    const typed = ({ target }) => {
      text = target.value;
      fault = refusal(target.valueAsNumber, { low, high, unit });
      refuse(fault);
      if (!fault) set(target.valueAsNumber);
    };
    const range = { min: low, max: high, oninput: typed };
    return h("div.tw-number", { removed: () => refuse("") },
      h("label", { for: id }, `${title} [${unit}]`),
      h("input", { type: "range", "aria-label": `${title}, slider`, step: by, ...range, value }),
      h("input", {
        id, type: "number",
        step: "any", "aria-invalid": String(fault !== ""), "aria-describedby": `${id}-fault`,
        ...range, value: text,
      }),
      h("p.tw-fault", { id: `${id}-fault`, role: "status" }, fault));
  };
}

/* A component: the fields of the setting. */
export function explorerSetting({ explorer }) {
  const { ranges, setting } = explorer;
  const { families, slack, notes, pressure } = ranges;
  const id = newId();
  const slide = (field, more) =>
    h(numberSlide, {
      key: field, id: `${id}-${field}`,
      refuse: (message) => explorer.refuse(field, message), ...more,
    });
  const angle = ({ name, unit, low, high }, k) =>
    slide(`angle-${k}`, {
      title: `Helix angle of ${name}`, unit, by: 0.5, low, high, value: setting.angles[k],
      set: (value) => (setting.angles[k] = value),
    });
  const rules = () =>
    listField("Slack", `${id}-rule`, setting.rule, slack.rules,
      ({ rule }) => ({ value: rule, text: rule }), (rule) => (setting.rule = rule));
  const amount = ({ rule, ...range }) =>
    slide("slack", {
      ...range, key: rule,
      title: `Slack, ${rule}`, by: 0.5, value: setting.values[rule],
      set: (value) => (setting.values[rule] = value),
    });
  return () => {
    const rule = slack.rules.find((one) => one.rule === setting.rule);
    return h("form.tw-setting", { onsubmit: stay },
      notes.map((note) => h("p.tw-note", note)),
      families.map(angle),
      families.length && rules(),
      families.length && rule.unit && amount(rule),
      slide("pressure", {
        ...pressure, title: capital(pressure.title), by: 0.1,
        value: setting.pressure, set: (value) => (setting.pressure = value),
      }),
      h("p.tw-fault", { role: "status" }, explorer.fault));
  };
}

/* A component: the FE solve of the setting. */
export function explorerSolve({ explorer }) {
  const { ranges, solver } = explorer;
  const id = newId();
  return () => {
    const { done, job, running, status, steps } = solver;
    const count = steps && `${done} of ${steps} steps`;
    const progress = running && ["Solving with FE", count].filter(Boolean).join(": ");
    const share = steps ? { max: steps, value: done } : {};
    return h("form.tw-setting", { onsubmit: stay },
      listField("Mesh of the FE model", id, explorer.resolution, ranges.resolutions,
        (one) => ({ value: one, text: one }), (one) => (explorer.resolution = one)),
      h("div.tw-buttons",
        button("Solve with FE", () => explorer.solve(), {
          disabled: running || !explorer.valid,
        }),
        button("Stop", () => solver.stop(), { disabled: !running || !job })),
      running && h("progress", { "aria-label": "Steps of the FE solve", ...share }),
      h("p.tw-note", { role: "status" }, [progress, status].filter(Boolean).join(", ")));
  };
}

/* A component: the explorer. */
export function explorerView({ ranges, display }) {
  const explorer = new Explorer(ranges, server);
  const viewsOf = memo((fast, solved) => {
    const views = [fast, solved].filter(Boolean).map((pack) => pack.views[0]);
    display.include(views);
    return views;
  });
  const heading = (text) => h("h3.tw-heading", text);
  let over = false;
  return () => {
    explorer.update();
    const { fast, lastValid, otherSetting, reach, solver } = explorer;
    const views = viewsOf(fast, solver.shape);
    const [shown, other] = views;
    const state = { views, step: Infinity, named: false };
    const overlay = () =>
      check(`Overlay the ${other.title} on the ${shown.title}`, over, (yes) => (over = yes));
    const stale = () => lastValid && h("p.tw-note.tw-stale", lastValid);
    return h("div.tw-live",
      h("div",
        heading("Setting"),
        h(explorerSetting, { explorer }),
        heading("Check with FE"),
        h(explorerSolve, { explorer })),
      h("div.tw-shapes",
        fast && displayBar(display, fast.keys, other && overlay()),
        stale(),
        shapeRow({ ...state, display, over: over && other, drawn() {} }),
        otherSetting && h("p.tw-note", otherSetting),
        fast && colourKeys(fast.scales, fast.keys, true)),
      h("div.tw-values",
        heading("Values"),
        stale(),
        fast && h(readouts, {
          ...state, columns: fast.columns,
          caption: "Values at the setting",
        }),
        fast && reach?.levels.length && [
          heading("Reachable set of the fast model"),
          h(reachMap, { reach, views }),
        ]));
  };
}
