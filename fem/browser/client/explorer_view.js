/* The live bench as it is seen: sliders, shapes, read-outs and the reachable set. */
(function (tubewright) {
  "use strict";

  const { computed, onBeforeUnmount, ref, watch } = Vue;

  /* Why a number that was typed is not offered; empty if it is. */
  function refusal(value, { low, high, unit }) {
    const spare = 1e-9 * (high - low); // the ends are rounded
    if (value >= low - spare && value <= high + spare) return "";
    const said = (number) => tubewright.trueMinus(String(Number(number.toPrecision(6))));
    const typed = Number.isFinite(value) ? `${said(value)} ${unit}` : "no number";
    return `${typed}; ${said(low)} to ${said(high)} ${unit} is offered`;
  }

  /* A number by slider or by hand, with its unit; one that is not offered stays in the field. */
  tubewright.components["number-slide"] = {
    props: {
      modelValue: Number,
      title: String,
      unit: String,
      low: Number,
      high: Number,
      by: Number,
      id: String,
    },
    emits: ["update:modelValue", "refused"],
    setup(props, { emit }) {
      const [text, fault] = [ref(String(props.modelValue)), ref("")];
      const set = ({ target: { value, valueAsNumber } }) => {
        text.value = value;
        fault.value = refusal(valueAsNumber, props);
        if (!fault.value) emit("update:modelValue", valueAsNumber);
      };
      watch(fault, (why) => emit("refused", why));
      onBeforeUnmount(() => emit("refused", ""));
      return { fault, set, text };
    },
    template: `
      <div class="tw-number">
        <label :for="id">{{ title }} [{{ unit }}]</label>
        <input type="range" :min="low" :max="high" :step="by" :value="modelValue"
          :aria-label="title + ', slider'" @input="set">
        <input :id="id" type="number" :min="low" :max="high" step="any" :value="text"
          :aria-invalid="fault !== ''" :aria-describedby="id + '-fault'" @input="set">
        <p :id="id + '-fault'" class="tw-fault" role="status">{{ fault }}</p>
      </div>`,
  };

  tubewright.components["bench-setting"] = {
    props: { bench: Object },
    setup({ bench }) {
      const { offer, setting } = bench;
      const rule = computed(() => offer.slack.rules.find((one) => one.rule === setting.rule));
      return { ...bench, id: tubewright.newId(), rule };
    },
    template: `
      <form class="tw-setting" @submit.prevent>
        <p v-for="note in offer.notes" class="tw-note">{{ note }}</p>
        <number-slide v-for="(family, k) in offer.families" :key="family.name"
          v-model="setting.angles[k]" :title="'Helix angle of ' + family.name" unit="deg"
          :low="family.low" :high="family.high" :by="0.5" :id="id + '-angle-' + k"
          @refused="refuse('angle ' + k, $event)" />
        <div v-if="offer.families.length" class="tw-number">
          <label :for="id + '-rule'">Slack</label>
          <select :id="id + '-rule'" v-model="setting.rule">
            <option v-for="one in offer.slack.rules" :value="one.rule">{{ one.rule }}</option>
          </select>
        </div>
        <number-slide v-if="offer.families.length && rule.unit"
          v-model="setting.values[rule.rule]" :key="rule.rule" :title="'Slack, ' + rule.rule"
          :unit="rule.unit" :low="rule.low" :high="rule.high" :by="0.5" :id="id + '-slack'"
          @refused="refuse('slack', $event)" />
        <number-slide v-model="setting.pressure" title="Pressure" unit="kPa"
          :low="offer.pressure.low" :high="offer.pressure.high" :by="0.1"
          :id="id + '-pressure'" @refused="refuse('pressure', $event)" />
        <p class="tw-fault" role="status">{{ fault }}</p>
      </form>`,
  };

  tubewright.components["bench-solve"] = {
    props: { bench: Object },
    setup({ bench }) {
      const { job, stop } = bench.solver;
      const share = computed(() => (job.steps ? { value: job.done, max: job.steps } : {}));
      const said = computed(() => {
        const far = job.running ? `Solving by FE, ${job.done} of ${job.steps || "?"} steps` : "";
        return [far, job.said].filter(Boolean).join("; ");
      });
      const { held, offer, resolution, solve } = bench;
      return { held, id: tubewright.newId(), job, offer, resolution, said, share, solve, stop };
    },
    template: `
      <form class="tw-setting" @submit.prevent>
        <div class="tw-number">
          <label :for="id">Mesh of the FE model</label>
          <select :id="id" v-model="resolution">
            <option v-for="one in offer.resolutions" :value="one">{{ one }}</option>
          </select>
        </div>
        <div class="tw-buttons">
          <button type="button" :disabled="job.running || held" @click="solve">Solve by FE</button>
          <button type="button" :disabled="!job.running || !job.id" @click="stop">Stop</button>
        </div>
        <progress v-if="job.running" v-bind="share" aria-label="Steps of the FE solve"></progress>
        <p class="tw-note" role="status">{{ said }}</p>
      </form>`,
  };

  tubewright.components["live-bench"] = {
    props: { offer: Object, look: Object, level: String },
    setup(props) {
      const bench = tubewright.newBench(props.offer, tubewright.server);
      const { fast, reach, setting, solver } = bench;
      const exhibits = computed(() =>
        [fast.value, solver.shape.value].filter(Boolean).map((pack) => pack.exhibits[0]),
      );
      watch(exhibits, (all) => props.look.include(all));
      watch([setting, bench.held], bench.settle, { immediate: true });
      // the set is over the first two angles, so these do not change it, nor does the pressure
      watch(
        () => [setting.rule, setting.values[setting.rule], ...setting.angles.slice(2)],
        bench.map,
        { immediate: true },
      );
      const note = computed(bench.otherSetting);
      const [over, last] = [ref(false), Infinity];
      const laid = computed(() => (over.value && exhibits.value[1]) || null);
      const { lastValid } = bench;
      return { bench, exhibits, fast, laid, last, lastValid, note, over, reach };
    },
    template: `
      <div class="tw-live">
        <div>
          <component :is="level" class="tw-heading">Setting</component>
          <bench-setting :bench="bench" />
          <component :is="level" class="tw-heading">The same by FE</component>
          <bench-solve :bench="bench" />
        </div>
        <div class="tw-shapes">
          <look-bar v-if="fast" :look="look" :keys="fast.keys">
            <label v-if="exhibits.length > 1" class="tw-check"><input type="checkbox"
              v-model="over"> Lay the {{ exhibits[1].title }} over the {{
                exhibits[0].title }}</label>
          </look-bar>
          <p v-if="lastValid" class="tw-note tw-stale">{{ lastValid }}</p>
          <shape-row :exhibits="exhibits" :over="laid" :step="last" :look="look" :named="false" />
          <p v-if="note" class="tw-note">{{ note }}</p>
          <colour-keys v-if="fast" fixed :scales="fast.scales" :keys="fast.keys" />
        </div>
        <div class="tw-figures">
          <component :is="level" class="tw-heading">Read-outs</component>
          <p v-if="lastValid" class="tw-note tw-stale">{{ lastValid }}</p>
          <read-outs v-if="fast" :columns="fast.columns" :exhibits="exhibits" :step="last"
            :named="false" caption="Read-outs of the setting" />
          <template v-if="fast && reach && reach.levels.length">
            <component :is="level" class="tw-heading">Reachable set of the fast model</component>
            <reach-map :reach="reach" :exhibits="exhibits" />
          </template>
        </div>
      </div>`,
  };
})((globalThis.tubewright ??= { components: {} }));
