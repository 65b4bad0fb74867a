/* The path: a slider over its steps, the shapes of all exhibits, read-outs and curves. */
(function (tubewright) {
  "use strict";

  const { computed, onBeforeUnmount, ref, watch } = Vue;

  const BEAT = 700; // ms between two steps
  const SLOW_BEAT = 1600; // where less motion is asked for
  const FEW = 2; // exhibits that are shown without a choice
  const MOST_SHOWN = 6; // pictures at once: browsers keep few WebGL contexts

  const beat = () =>
    matchMedia("(prefers-reduced-motion: reduce)").matches ? SLOW_BEAT : BEAT;

  tubewright.components["step-bar"] = {
    props: { labels: Array, modelValue: Number, id: String },
    emits: ["update:modelValue"],
    setup(props, { emit }) {
      const playing = ref(0);
      const last = computed(() => props.labels.length - 1);
      const go = (step) => emit("update:modelValue", Math.min(step, last.value));
      const pause = () => {
        clearInterval(playing.value);
        playing.value = 0;
      };
      const play = () => {
        go(props.modelValue === last.value ? 0 : props.modelValue + 1);
        playing.value = setInterval(() => go(props.modelValue + 1), beat());
      };
      watch(
        () => props.modelValue >= last.value,
        (ended) => ended && pause(),
      );
      onBeforeUnmount(pause);
      const ruler = computed(() =>
        props.labels.map((_, k) => ({ left: `${(100 * k) / Math.max(last.value, 1)}%` })),
      );
      const slide = (event) => {
        pause();
        go(Number(event.target.value));
      };
      const toggle = () => (playing.value ? pause() : play());
      return { last, playing, ruler, slide, toggle };
    },
    template: `
      <div class="tw-steps">
        <button type="button" class="tw-play" :disabled="last < 1" @click="toggle">{{
          playing ? "Pause" : "Play" }}</button>
        <div class="tw-slide">
          <label :for="id">Step</label>
          <input :id="id" type="range" min="0" :max="last" step="1" :value="modelValue"
            :aria-valuetext="'step ' + modelValue + ' of ' + last + ', ' + labels[modelValue]"
            @input="slide">
          <div class="tw-ruler" aria-hidden="true"><i v-for="mark in ruler" :style="mark"></i></div>
        </div>
        <output :for="id">{{ modelValue }} of {{ last }}, <b>{{ labels[modelValue] }}</b></output>
      </div>`,
  };

  /* The labels of the longest path that is shown. */
  const labelsOf = (exhibits) =>
    exhibits
      .reduce((most, one) => (one.steps.length > most.length ? one.steps : most), [{ label: "" }])
      .map(({ label }) => label);

  tubewright.components["path-sheet"] = {
    props: { pack: Object, look: Object, curves: Boolean, level: String },
    emits: ["drawn"],
    setup(props) {
      const chosen = ref([]);
      watch(
        () => props.pack,
        ({ exhibits: all }, old) => {
          if (old?.exhibits.length === all.length) return;
          chosen.value = all.slice(0, MOST_SHOWN).map((_, k) => k);
        },
        { immediate: true },
      );
      const exhibits = computed(() =>
        props.pack.exhibits.filter((_, k) => chosen.value.includes(k)),
      );
      watch(exhibits, (shown) => props.look.include(shown), { immediate: true });
      const labels = computed(() => labelsOf(exhibits.value));
      const wanted = ref(labels.value.length - 1);
      const step = computed({
        get: () => Math.min(wanted.value, labels.value.length - 1),
        set: (value) => (wanted.value = value),
      });
      const named = computed(() => new Set(exhibits.value.map(({ name }) => name)).size > 1);
      const first = (name) => (props.pack.columns.find((c) => c.name === name) || {}).name;
      return {
        chosen,
        exhibits,
        few: FEW,
        first,
        id: tubewright.newId(),
        labels,
        most: MOST_SHOWN,
        named,
        step,
      };
    },
    template: `
      <div class="tw-sheet" :class="{ 'tw-wide': !curves }">
        <div class="tw-shapes">
          <fieldset v-if="pack.exhibits.length > few" class="tw-choice">
            <legend>Shown side by side, {{ most }} at most; the colour bars span all</legend>
            <label v-for="(exhibit, k) in pack.exhibits" class="tw-check">
              <input type="checkbox" :value="k" v-model="chosen"
                :disabled="chosen.length >= most && !chosen.includes(k)">
              {{ exhibit.name }}, {{ exhibit.title }}</label>
          </fieldset>
          <look-bar :look="look" :keys="pack.keys" />
          <shape-row :exhibits="exhibits" :step="step" :look="look" :named="named"
            @drawn="$emit('drawn')" />
          <p class="tw-hint">Drag a shape or use the arrow keys to turn it. <kbd>+</kbd>
            <kbd>\u2212</kbd> or <kbd>Ctrl</kbd> and the wheel zoom, <kbd>Shift</kbd> with drag or
            arrows moves, <kbd>Home</kbd> resets. All shapes turn together, at one scale.</p>
          <step-bar v-model="step" :labels="labels" :id="id + '-step'" />
          <colour-keys :scales="pack.scales" :keys="pack.keys" />
        </div>
        <div class="tw-figures">
          <component :is="level" class="tw-heading">Read-outs</component>
          <read-outs :columns="pack.columns" :exhibits="exhibits" :step="step" :named="named"
            caption="Read-outs of the step shown" />
          <template v-if="curves">
            <component :is="level" class="tw-heading">Along the path</component>
            <curve-legend :exhibits="exhibits" :named="named" />
            <curve-chart v-for="name in ['twist_deg', 'displacement_mm']" :key="name"
              :columns="pack.columns" :exhibits="exhibits" :step="step" :first="first(name)"
              :id="id + '-' + name" />
          </template>
        </div>
      </div>`,
  };
})((globalThis.tubewright ??= { components: {} }));
