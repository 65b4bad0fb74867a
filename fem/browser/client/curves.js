/* Curves along the path: a quantity against pressure, the state that is shown ringed. */
(function (tubewright) {
  "use strict";

  const { computed, ref } = Vue;

  const HEIGHT = 210;
  const APART = 14; // px between the tags at the ends of two curves
  const CLEAR = 3; // px between a tag and the axis
  const DRIVE = "pressure_kPa";

  /* Which hand of ink a curve has: one to each result, whatever the model. */
  tubewright.inks = function (exhibits) {
    const names = [...new Set(exhibits.map(({ name }) => name))];
    return exhibits.map(({ name }) => names.indexOf(name) % 4);
  };

  /* Does the pressure change from every step to the next on all the paths?  Where it does not, as
     when the free end is moved, steps would stand one above the other: they are numbered instead. */
  function driven(exhibits) {
    const paths = exhibits.map(({ steps }) =>
      steps.map(({ row }) => row[DRIVE]).filter(tubewright.isNumber),
    );
    const all = paths.flat();
    const least = 1e-3 * (Math.max(...all) - Math.min(...all));
    const moves = (value, k, path) => k === 0 || Math.abs(value - path[k - 1]) > least;
    return all.length > 0 && paths.every((path) => path.every(moves));
  }

  function curveOf(exhibit, name, byPressure) {
    const points = [];
    exhibit.steps.forEach(({ row }, step) => {
      const [x, y] = [byPressure ? row[DRIVE] : step, row[name]];
      if (tubewright.isNumber(x) && tubewright.isNumber(y)) points.push({ x, y, step });
    });
    return points;
  }

  /* Push the tags of curves that end side by side apart, none below `lowest`: there are ticks. */
  function spread(tags, lowest) {
    const sorted = [...tags].sort((a, b) => a.y - b.y);
    const beside = (one) => (other) => Math.abs(one.x - other.x) < APART;
    sorted.forEach((tag, k) => {
      for (const above of sorted.slice(0, k).filter(beside(tag))) {
        tag.y = Math.max(tag.y, above.y + APART);
      }
    });
    sorted.reverse().forEach((tag, k) => {
      tag.y = Math.min(tag.y, lowest);
      for (const below of sorted.slice(0, k).filter(beside(tag))) {
        tag.y = Math.min(tag.y, below.y - APART);
      }
    });
  }

  tubewright.components["curve-chart"] = {
    props: { columns: Array, exhibits: Array, step: Number, first: String, id: String },
    setup(props) {
      const width = ref(400);
      const name = ref(props.first);
      const column = computed(() => props.columns.find((c) => c.name === name.value));
      const byPressure = computed(() => driven(props.exhibits));
      const curves = computed(() =>
        props.exhibits.map((exhibit) => curveOf(exhibit, name.value, byPressure.value)),
      );
      const axes = computed(() => {
        const all = curves.value.flat();
        const xs = all.map(({ x }) => x);
        const ys = all.map(({ y }) => y);
        return tubewright.axes(
          all.length ? [Math.min(...xs), Math.max(...xs) + 1e-9] : [0, 1],
          tubewright.span(all.length ? [...ys, 0] : [0, 1]),
          width.value,
          HEIGHT,
        );
      });
      const drawn = computed(() => {
        const { x, y, frame } = axes.value;
        const inks = tubewright.inks(props.exhibits);
        const made = curves.value.map((curve, k) => {
          const { model } = props.exhibits[k];
          const marks = curve.map((point) => ({ x: x(point.x), y: y(point.y) }));
          return {
            classes: `tw-curve tw-${model} tw-ink-${inks[k]}`,
            line: model === "bench" ? "" : marks.map((m) => `${m.x} ${m.y}`).join(" "),
            marks,
            model,
            tag: marks.length && { text: k + 1, x: marks.at(-1).x + 8, y: marks.at(-1).y + 4 },
          };
        });
        spread(made.map(({ tag }) => tag).filter(Boolean), frame.y0 - CLEAR);
        return made;
      });
      const shownNow = computed(() =>
        curves.value.map((curve, k) => {
          const last = Math.min(props.step, props.exhibits[k].steps.length - 1);
          return drawn.value[k].marks[curve.findIndex(({ step }) => step === last)];
        }),
      );
      const label = computed(() => {
        const { title, unit, digits } = column.value;
        const ends = curves.value.map((curve, k) => {
          const end = curve.length ? curve.at(-1).y : NaN;
          return `${props.exhibits[k].title} ends at ${tubewright.withUnit(end, digits, unit)}`;
        });
        return `${title} against ${byPressure.value ? "pressure" : "step"}: ${ends.join("; ")}`;
      });
      const choices = computed(() => props.columns.filter((c) => c.name !== DRIVE));
      const across = computed(() => (byPressure.value ? "pressure [kPa]" : "step"));
      const heading = tubewright.heading;
      return { HEIGHT, across, axes, choices, column, drawn, heading, label, name, shownNow, width };
    },
    template: `
      <div class="tw-curves">
        <label :for="id" class="tw-hidden">Quantity of the chart</label>
        <select :id="id" v-model="name">
          <option v-for="choice in choices" :value="choice.name">{{ heading(choice) }}</option>
        </select>
        <chart-frame :axes="axes" :width="width" :height="HEIGHT" :across="across" :label="label"
          @width="width = $event">
          <g v-for="curve in drawn" :class="curve.classes">
            <polyline v-if="curve.line" :points="curve.line" />
            <chart-mark v-for="mark in curve.marks" :model="curve.model" v-bind="mark" />
            <text v-if="curve.tag" class="tw-halo" :x="curve.tag.x" :y="curve.tag.y">{{
              curve.tag.text }}</text>
          </g>
          <template #over>
            <g v-for="now in shownNow" class="tw-curve">
              <circle v-if="now" class="tw-now" :cx="now.x" :cy="now.y" r="8" />
            </g>
          </template>
        </chart-frame>
      </div>`,
  };

  tubewright.components["curve-legend"] = {
    props: { exhibits: Array, named: Boolean },
    setup: (props) => ({ inks: computed(() => tubewright.inks(props.exhibits)) }),
    template: `
      <ul class="tw-samples">
        <li v-for="(exhibit, k) in exhibits">
          <svg width="34" height="12" aria-hidden="true"
            :class="'tw-curve tw-' + exhibit.model + ' tw-ink-' + inks[k]">
            <polyline v-if="exhibit.model !== 'bench'" points="0 6 34 6" />
            <chart-mark :model="exhibit.model" :x="17" :y="6" /></svg>
          <b class="tw-tag">{{ k + 1 }}</b>
          <span>{{ named ? exhibit.name + ", " : "" }}{{ exhibit.title }}</span>
        </li>
        <li><svg width="34" height="18" aria-hidden="true" class="tw-curve">
          <circle class="tw-now" cx="17" cy="9" r="7.5" /></svg> the state shown</li>
      </ul>`,
  };
})((globalThis.tubewright ??= { components: {} }));
