/* The live bench as it is seen: sliders, shapes, read-outs and the reachable set. */
(function (tubewright) {
  "use strict";

  const { computed, watch } = Vue;

  /* A number by slider or by hand, with its unit. */
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
    emits: ["update:modelValue"],
    setup(_, { emit }) {
      const set = (event) => {
        if (Number.isFinite(event.target.valueAsNumber)) {
          emit("update:modelValue", event.target.valueAsNumber);
        }
      };
      return { set };
    },
    template: `
      <div class="tw-number">
        <label :for="id">{{ title }} [{{ unit }}]</label>
        <input v-if="high !== undefined" type="range" :min="low" :max="high" :step="by"
          :value="modelValue" :aria-label="title + ', slider'" @input="set">
        <input :id="id" type="number" :min="low" :max="high" step="any" :value="modelValue"
          @input="set">
      </div>`,
  };

  tubewright.components["bench-setting"] = {
    props: { bench: Object },
    setup({ bench }) {
      const rules = tubewright.slackRules(bench.offer);
      const rule = computed(() => rules[bench.setting.rule] || {});
      const share = computed(() =>
        bench.job.steps ? { value: bench.job.done, max: bench.job.steps } : {},
      );
      return {
        ...bench,
        id: tubewright.newId(),
        rule,
        rules,
        share,
      };
    },
    template: `
      <form class="tw-setting" @submit.prevent>
        <number-slide v-for="(family, k) in offer.families" :key="family.name"
          v-model="setting.angles[k]" :title="'helix angle of ' + family.name" unit="deg"
          :low="family.low" :high="family.high" :by="0.5" :id="id + '-angle-' + k" />
        <div v-if="offer.families.length" class="tw-number">
          <label :for="id + '-rule'">slack</label>
          <select :id="id + '-rule'" v-model="setting.rule">
            <option v-for="(rule, name) in rules" :value="name">{{ rule.title }}</option>
          </select>
        </div>
        <number-slide v-if="offer.families.length && rule.unit"
          v-model="setting.values[setting.rule]" :title="setting.rule + ' value'"
          :unit="rule.unit" :id="id + '-slack'" />
        <number-slide v-model="setting.pressure" title="pressure" unit="kPa"
          :low="offer.pressure.low" :high="offer.pressure.high" :by="0.1"
          :id="id + '-pressure'" />
        <p class="tw-fault" role="status">{{ fault }}</p>
        <div class="tw-solve">
          <button type="button" :disabled="!!job.id" @click="solve">Solve by FE</button>
          <button type="button" :disabled="!job.id || job.id === '?'" @click="stop">Stop</button>
          <progress v-if="job.id" v-bind="share" aria-label="Steps of the FE solve"></progress>
          <span role="status">{{ job.said }}<template v-if="job.steps">, {{ job.done }} of {{
            job.steps }} steps</template></span>
        </div>
      </form>`,
  };

  tubewright.components["live-bench"] = {
    props: { offer: Object, look: Object, level: String },
    setup(props) {
      const bench = tubewright.newBench(props.offer, tubewright.server);
      const exhibits = computed(() =>
        [bench.fast.value, bench.solved.value].filter(Boolean).map((pack) => pack.exhibits[0]),
      );
      watch(exhibits, (all) => props.look.include(all));
      watch(bench.setting, bench.settle, { immediate: true });
      watch(() => [bench.setting.rule, bench.setting.values[bench.setting.rule]], bench.map, {
        immediate: true,
      });
      const notes = computed(() => [...props.offer.notes, bench.otherSetting()].filter(Boolean));
      return { bench, exhibits, fast: bench.fast, last: 1e6, notes, reach: bench.reach };
    },
    template: `
      <div class="tw-live">
        <div>
          <component :is="level" class="tw-heading">Setting</component>
          <bench-setting :bench="bench" />
        </div>
        <div class="tw-shapes" v-if="fast">
          <look-bar :look="look" />
          <div class="tw-views">
            <shape-view v-for="(exhibit, k) in exhibits" :key="k" :exhibit="exhibit" :tag="k + 1"
              :step="last" :look="look" :named="false" />
          </div>
          <p v-for="note in notes" class="tw-note">{{ note }}</p>
          <colour-keys :scales="fast.scales" />
        </div>
        <div class="tw-figures" v-if="fast">
          <component :is="level" class="tw-heading">Read-outs</component>
          <read-outs :columns="fast.columns" :exhibits="exhibits" :step="last" :named="false"
            caption="Read-outs of the setting" />
          <template v-if="reach && reach.levels.length">
            <component :is="level" class="tw-heading">Reachable set of the fast model</component>
            <reach-map :reach="reach" :exhibits="exhibits" />
          </template>
        </div>
      </div>`,
  };
})((globalThis.tubewright ??= { components: {} }));
