/* The live explorer as it is seen: sliders, shapes, read-outs and the reachable set. */
import { button, check, listField } from "./controls.js";
import { h, memo, newId } from "./dom.js";
import { Explorer } from "./explorer.js";
import { colourKeys } from "./keys.js";
import { lookBar } from "./look.js";
import { capital, plain } from "./numbers.js";
import { reachMap } from "./reach.js";
import { readouts } from "./readouts.js";
import { server } from "./server.js";
import { shapeRow } from "./shape.js";

const stay = (event) => event.preventDefault();

/* Why a number that was typed is not allowed; empty if it is. */
function refusal(value, { low, high, unit }) {
  const spare = 1e-9 * (high - low); // the ends are rounded
  if (value >= low - spare && value <= high + spare) return "";
  const said = (number) => plain(number, unit);
  if (!Number.isFinite(value)) return `a number from ${said(low)} to ${said(high)} is required`;
  return `${said(value)} is outside ${said(low)} to ${said(high)}`;
}

/* A component: a number by slider or by hand; one that is not allowed stays in the field. */
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
    return h("div.tw-number", { gone: () => refuse("") },
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
  const { offer, setting } = explorer;
  const { families, slack, notes, pressure } = offer;
  const id = newId();
  const slide = (field, more) =>
    h(numberSlide, {
      key: field, id: `${id}-${field}`, refuse: (why) => explorer.refuse(field, why), ...more,
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
  const { offer, solver } = explorer;
  const id = newId();
  return () => {
    const { done, job, running, said, steps } = solver;
    const far = running && `Solving by FE, ${done} of ${steps || "?"} steps`;
    const share = steps ? { max: steps, value: done } : {};
    return h("form.tw-setting", { onsubmit: stay },
      listField("Mesh of the FE model", id, explorer.resolution, offer.resolutions,
        (one) => ({ value: one, text: one }), (one) => (explorer.resolution = one)),
      h("div.tw-buttons",
        button("Solve by FE", () => explorer.solve(), {
          disabled: running || !explorer.valid,
        }),
        button("Stop", () => solver.stop(), { disabled: !running || !job })),
      running && h("progress", { "aria-label": "Steps of the FE solve", ...share }),
      h("p.tw-note", { role: "status" }, [far, said].filter(Boolean).join("; ")));
  };
}

/* A component: all of the explorer. */
export function explorerView({ offer, look }) {
  const explorer = new Explorer(offer, server);
  const exhibitsOf = memo((fast, solved) => {
    const exhibits = [fast, solved].filter(Boolean).map((pack) => pack.exhibits[0]);
    look.include(exhibits);
    return exhibits;
  });
  const heading = (text) => h("h3.tw-heading", text);
  let over = false;
  return () => {
    explorer.update();
    const { fast, lastValid, otherSetting, reach, solver } = explorer;
    const exhibits = exhibitsOf(fast, solver.shape);
    const [shown, other] = exhibits;
    const state = { exhibits, step: Infinity, named: false };
    const laid = () => `Lay the ${other.title} over the ${shown.title}`;
    const stale = () => lastValid && h("p.tw-note.tw-stale", lastValid);
    return h("div.tw-live",
      h("div",
        heading("Setting"),
        h(explorerSetting, { explorer }),
        heading("Check with FE"),
        h(explorerSolve, { explorer })),
      h("div.tw-shapes",
        fast && lookBar(look, fast.keys, other && check(laid(), over, (yes) => (over = yes))),
        stale(),
        shapeRow({ ...state, look, over: over && other, drawn() {} }),
        otherSetting && h("p.tw-note", otherSetting),
        fast && colourKeys(fast.scales, fast.keys, true)),
      h("div.tw-figures",
        heading("Read-outs"),
        stale(),
        fast && h(readouts, {
          ...state, columns: fast.columns,
          caption: "Read-outs of the setting",
        }),
        fast && reach?.levels.length && [
          heading("Reachable set of the fast model"),
          h(reachMap, { reach, exhibits }),
        ]));
  };
}
