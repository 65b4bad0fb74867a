/* A study: one of its settings is chosen, by its values or on the map of what they reach. */
(function (tubewright) {
  "use strict";

  const { computed, ref } = Vue;

  const HEIGHT = 300;
  const NEAR = 24; // px between a click and the point that it means
  const MOST_VALUES = 60; // of a quantity that is chosen from a list

  function different(settings, k) {
    const values = [...new Set(settings.map((setting) => setting.values[k]))];
    return values.every(tubewright.isNumber) ? values.sort((a, b) => a - b) : values;
  }

  /* The quantities that vary, each with its values, if most combinations of few values are there. */
  function lists({ axes, settings }) {
    const made = axes.map((axis, k) => ({ ...axis, values: different(settings, k) }));
    const many = made.reduce((product, { values }) => product * values.length, 1);
    const few = made.every(({ values }) => values.length <= MOST_VALUES);
    return few && settings.length > many / 2 ? made : [];
  }

  const digits = (value) => Math.min(3, (String(value).split(".")[1] ?? "").length);
  const said = (value, unit) =>
    typeof value === "number" ? tubewright.withUnit(value, digits(value), unit) : value;

  tubewright.components["study-choice"] = {
    props: { study: Object, modelValue: Number },
    emits: ["update:modelValue"],
    setup(props, { emit }) {
      const { axes, settings } = props.study;
      const current = computed(() => settings[props.modelValue].values);
      /* The setting that is as the chosen one but for its k-th value; -1 if there is none. */
      const other = (k, value) => {
        const wanted = current.value.map((old, j) => (j === k ? value : old));
        return settings.findIndex(({ values }) => values.every((one, j) => one === wanted[j]));
      };
      const choose = (k, value) => emit("update:modelValue", other(k, value));
      const number = ({ target: { valueAsNumber } }) => {
        if (settings[valueAsNumber - 1]) emit("update:modelValue", valueAsNumber - 1);
      };
      const words = computed(() =>
        axes.map(({ title, unit }, k) => `${title} ${said(current.value[k], unit)}`).join(", "),
      );
      const offered = lists(props.study);
      const id = tubewright.newId();
      return { choose, current, id, number, offered, other, said, settings, words };
    },
    template: `
      <form class="tw-setting" @submit.prevent>
        <div v-for="(axis, k) in offered" class="tw-number">
          <label :for="id + '-' + k">{{ axis.title }}</label>
          <select :id="id + '-' + k" :value="axis.values.indexOf(current[k])"
            @change="choose(k, axis.values[$event.target.value])">
            <option v-for="(value, n) in axis.values" :value="n" :disabled="other(k, value) < 0">{{
              said(value, axis.unit) }}</option>
          </select>
        </div>
        <div v-if="!offered.length" class="tw-number">
          <label :for="id">Setting, 1 to {{ settings.length }}</label>
          <input type="range" min="1" :max="settings.length" :value="modelValue + 1"
            aria-label="Setting, slider" @input="number">
          <input :id="id" type="number" min="1" :max="settings.length" :value="modelValue + 1"
            @input="number">
        </div>
        <p class="tw-note" role="status">{{ words }}</p>
      </form>`,
  };

  /* All that the settings reach, a dot each; the chosen one is ringed, a click chooses another. */
  tubewright.components["study-map"] = {
    props: { study: Object, titles: Object, modelValue: Number },
    emits: ["update:modelValue"],
    setup(props, { emit }) {
      const width = ref(400);
      const { models } = props.study.reach;
      const names = Object.keys(models);
      const known = Object.values(models).flat().filter(Boolean);
      const axes = computed(() => {
        const values = (k) => (known.length ? [...known.map((point) => point[k]), 0] : [0, 1]);
        const [across, along] = [tubewright.span(values(0)), tubewright.span(values(1))];
        return tubewright.axes(across, along, width.value, HEIGHT);
      });
      const places = computed(() =>
        names.map((model) =>
          models[model].map((point) => point && [axes.value.x(point[0]), axes.value.y(point[1])]),
        ),
      );
      const dots = computed(() =>
        places.value.map((all, k) => ({
          title: props.titles[names[k]],
          classes: `tw-dots tw-dots-${names[k]}`,
          path: all
            .filter(Boolean)
            .map(([x, y]) => `M${x.toFixed(1)} ${y.toFixed(1)}h0`)
            .join(""),
        })),
      );
      const marks = computed(() =>
        places.value
          .map((all, k) => ({ model: names[k], at: all[props.modelValue] }))
          .filter(({ at }) => at),
      );
      const pick = ({ offsetX, offsetY }) => {
        const far = ([x, y]) => Math.hypot(x - offsetX, y - offsetY);
        const [least, found] = places.value
          .flatMap((all) => all.map((at, k) => [at ? far(at) : Infinity, k]))
          .reduce((best, one) => (one[0] < best[0] ? one : best), [NEAR, -1]);
        if (least < NEAR) emit("update:modelValue", found);
      };
      const { settings, reach } = props.study;
      const label =
        `What ${settings.length} settings reach ${reach.where}, ` +
        "displacement across, twist up; a click chooses one";
      return { HEIGHT, axes, dots, label, marks, names, pick, width };
    },
    template: `
      <div @click="pick">
        <p class="tw-above">twist [deg], {{ study.reach.where }}</p>
        <chart-frame :axes="axes" :width="width" :height="HEIGHT" across="displacement [mm]"
          :label="label" @width="width = $event">
          <path v-for="model in dots" :class="model.classes" :d="model.path" />
          <template #over>
            <g v-for="mark in marks" class="tw-curve" :class="'tw-' + mark.model">
              <circle class="tw-paper" :cx="mark.at[0]" :cy="mark.at[1]" r="9" />
              <chart-mark :model="mark.model" :x="mark.at[0]" :y="mark.at[1]" :size="4.5" />
            </g>
          </template>
        </chart-frame>
        <ul class="tw-samples">
          <li v-for="model in dots"><svg width="14" height="12" aria-hidden="true">
            <path :class="model.classes" d="M7 6h0" /></svg> {{ model.title }}</li>
        </ul>
      </div>`,
  };
})((globalThis.tubewright ??= { components: {} }));
