/* The path: a slider over its steps, the shapes of all exhibits, read-outs and curves. */
import { button, check } from "./controls.js";
import { curveChart, curveLegend } from "./curves.js";
import { h, memo, newId, redraw } from "./dom.js";
import { colourKeys } from "./keys.js";
import { lookBar } from "./look.js";
import { readouts } from "./readouts.js";
import { shapeRow } from "./shape.js";

const BEAT = 700; // ms between two steps
const SLOW_BEAT = 1600; // where less motion is asked for
const FEW = 2; // exhibits that are shown without a choice
const MOST_SHOWN = 6; // pictures at once: browsers keep few WebGL contexts

const beat = () => matchMedia("(prefers-reduced-motion: reduce)").matches ? SLOW_BEAT : BEAT;

/* A component: the slider over the steps, which plays them. */
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
    playing = setInterval(tick, beat());
  };
  const slide = ({ target }) => {
    pause();
    go(Number(target.value));
  };
  return (properties) => {
    now = properties;
    const { labels, step, id } = now;
    if (playing && step >= last()) pause();
    return h("div.tw-steps", { gone: pause },
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
const labelsOf = (exhibits) =>
  exhibits
    .reduce((most, one) => (one.steps.length > most.length ? one.steps : most), [{ label: "" }])
    .map(({ label }) => label);

/* What shapes are turned by, as the page says it. */
const hint = () =>
  h("p.tw-hint",
    "Drag a shape or use the arrow keys to turn it. ", h("kbd", "+"), " ", h("kbd", "\u2212"),
    " or ", h("kbd", "Ctrl"), " and the wheel zoom, ", h("kbd", "Shift"),
    " with drag or arrows moves, ", h("kbd", "Home"),
    " resets. All shapes turn together, at one scale.");

/* A component: all of a pack; `drawn` is called when its shapes are there. */
export function pathSheet({ look }) {
  const id = newId();
  let [chosen, step] = [new Set(), null];
  const choose = memo((count) => {
    chosen = new Set(Array.from({ length: Math.min(count, MOST_SHOWN) }, (_, k) => k));
  });
  const shown = memo((all, set) => {
    const exhibits = all.filter((_, k) => set.has(k));
    look.include(exhibits);
    return exhibits;
  });
  const toggle = (k, yes) => {
    chosen = new Set(yes ? [...chosen, k] : [...chosen].filter((one) => one !== k));
  };
  const choices = (all) =>
    h("fieldset.tw-choice",
      h("legend", `Shown side by side, ${MOST_SHOWN} at most; the colour bars span all`),
      all.map(({ name, title }, k) =>
        check(`${name}, ${title}`, chosen.has(k), (yes) => toggle(k, yes), {
          disabled: chosen.size >= MOST_SHOWN && !chosen.has(k),
        })));
  return ({ pack, curves, level, drawn }) => {
    choose(pack.exhibits.length);
    const exhibits = shown(pack.exhibits, chosen);
    const labels = labelsOf(exhibits);
    step ??= labels.length - 1;
    const state = { exhibits, step: Math.min(step, labels.length - 1) };
    state.named = new Set(exhibits.map(({ name }) => name)).size > 1;
    const { columns, drive } = pack;
    const heading = `${level}.tw-heading`;
    const chart = (first) =>
      h(curveChart, { ...state, key: first, columns, drive, first });
    return h("div.tw-sheet", { class: curves ? "" : "tw-wide" },
      h("div.tw-shapes",
        pack.exhibits.length > FEW && choices(pack.exhibits),
        lookBar(look, pack.keys),
        shapeRow({ ...state, look, drawn }),
        hint(),
        h(stepBar, {
          labels, id: `${id}-step`,
          step: state.step, set: (value) => (step = value),
        }),
        colourKeys(pack.scales, pack.keys)),
      h("div.tw-figures",
        h(heading, "Read-outs"),
        h(readouts, { ...state, columns, caption: "Read-outs of the step shown" }),
        curves && [
          h(heading, "Along the path"),
          curveLegend(exhibits, state.named),
          pack.curves.map(chart),
        ]));
  };
}
