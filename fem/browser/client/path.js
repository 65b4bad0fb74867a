/* The path: a slider over its steps, the shapes of all views, values and curves. */
import { button, check } from "./controls.js";
import { curveChart, curveLegend } from "./curves.js";
import { h, memo, newId, redraw } from "./dom.js";
import { colourKeys } from "./keys.js";
import { displayBar } from "./display.js";
import { readouts } from "./readouts.js";
import { shapeRow } from "./shape.js";

const STEP_TIME = 700; // ms between two steps
const SLOW_STEP_TIME = 1600; // if the user prefers reduced motion
const FEW = 2; // views that are shown without checkboxes
const MAX_SHOWN = 6; // pictures at once: browsers allow few WebGL contexts

const stepTime = () =>
  matchMedia("(prefers-reduced-motion: reduce)").matches ? SLOW_STEP_TIME : STEP_TIME;

/* A component: the slider over the steps, with a button that plays them. */
export function stepBar() {
  let playing = 0;
  let now;
  const last = () => now.labels.length - 1;
  const go = (step) => now.set(Math.min(step, last()));
  const pause = () => {
    clearInterval(playing);
    playing = 0;
  };
  const tick = () => {
    go(now.step + 1);
    redraw();
  };
  const toggle = () => {
    if (playing) return pause();
    go(now.step === last() ? 0 : now.step + 1);
    playing = setInterval(tick, stepTime());
  };
  const slide = ({ target }) => {
    pause();
    go(Number(target.value));
  };
  return (properties) => {
    now = properties;
    const { labels, step, id } = now;
    if (playing && step >= last()) pause();
    return h("div.tw-steps", { removed: pause },
      button(playing ? "Pause" : "Play", toggle, {
        class: "tw-play", disabled: last() < 1,
      }),
      h("div.tw-slide",
        h("label", { for: id }, "Step"),
        h("input", {
          id, type: "range",
          min: 0, max: last(), step: 1, value: step,
          "aria-valuetext": `step ${step} of ${last()}, ${labels[step]}`, oninput: slide,
        }),
        h("div.tw-ruler", { "aria-hidden": "true", style: `--steps: ${Math.max(last(), 1)}` })),
      h("output", { for: id }, `${step} of ${last()}, `, h("b", labels[step])));
  };
}

/* The labels of the longest path that is shown. */
const labelsOf = (views) =>
  views
    .reduce((most, one) => (one.steps.length > most.length ? one.steps : most), [{ label: "" }])
    .map(({ label }) => label);

/* The controls of the shapes. */
const hint = () =>
  h("p.tw-hint",
    "Rotate: drag or arrow keys. Zoom: ", h("kbd", "+"), " ", h("kbd", "\u2212"), " or ",
    h("kbd", "Ctrl"), " and mouse wheel. Move: ", h("kbd", "Shift"),
    " and drag or arrow keys. Reset: ", h("kbd", "Home"),
    ". All shapes have the same view and scale.");

/* A component: the content of a pack; `drawn` is called when its shapes are drawn. */
export function pathView({ display }) {
  const id = newId();
  let [chosen, step] = [new Set(), null];
  const choose = memo((count) => {
    chosen = new Set(Array.from({ length: Math.min(count, MAX_SHOWN) }, (_, k) => k));
  });
  const shown = memo((all, set) => {
    const views = all.filter((_, k) => set.has(k));
    display.include(views);
    return views;
  });
  const toggle = (k, yes) => {
    chosen = new Set(yes ? [...chosen, k] : [...chosen].filter((one) => one !== k));
  };
  const choices = (all) =>
    h("fieldset.tw-choice",
      h("legend", `Shown side by side, at most ${MAX_SHOWN}; all have the same colour scales`),
      all.map(({ name, title }, k) =>
        check(`${name}, ${title}`, chosen.has(k), (yes) => toggle(k, yes), {
          disabled: chosen.size >= MAX_SHOWN && !chosen.has(k),
        })));
  return ({ pack, curves, level, drawn }) => {
    choose(pack.views.length);
    const views = shown(pack.views, chosen);
    const labels = labelsOf(views);
    step ??= labels.length - 1;
    const state = { views, step: Math.min(step, labels.length - 1) };
    state.named = new Set(views.map(({ name }) => name)).size > 1;
    const { columns, drive } = pack;
    const heading = `${level}.tw-heading`;
    const chart = (first) =>
      h(curveChart, { ...state, key: first, columns, drive, first });
    return h("div.tw-path", { class: curves ? "" : "tw-wide" },
      h("div.tw-shapes",
        pack.views.length > FEW && choices(pack.views),
        displayBar(display, pack.keys),
        shapeRow({ ...state, display, drawn }),
        hint(),
        h(stepBar, {
          labels, id: `${id}-step`,
          step: state.step, set: (value) => (step = value),
        }),
        colourKeys(pack.scales, pack.keys)),
      h("div.tw-values",
        h(heading, "Values"),
        h(readouts, { ...state, columns, caption: "Values at the step shown" }),
        curves && [
          h(heading, "Curves"),
          curveLegend(views, state.named),
          pack.curves.map(chart),
        ]));
  };
}
