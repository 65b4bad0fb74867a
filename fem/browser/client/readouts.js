/* The numbers of the state that is shown: a row to each quantity, a column to each exhibit. */
(function (tubewright) {
  "use strict";

  const MANY = 3; // more columns have smaller letters

  /* What the state is called that an exhibit shows at a step: a shorter path stays at its end. */
  tubewright.stateOf = function ({ steps }, step) {
    const ended = Number.isFinite(step) && step >= steps.length;
    return ended ? `${steps.at(-1).label}, its last` : steps[Math.min(step, steps.length - 1)].label;
  };

  tubewright.stepOf = (exhibit, step) => exhibit.steps[Math.min(step, exhibit.steps.length - 1)];

  /* The mark of a unit in a heading; a pure number has none. */
  tubewright.heading = ({ title, unit }) => (unit ? `${title} [${unit}]` : title);

  /* The results that exhibits are of, each with the number of its exhibits. */
  function resultsOf(exhibits) {
    const results = [];
    for (const { name } of exhibits) {
      if (results.at(-1)?.name === name) results.at(-1).count += 1;
      else results.push({ name, count: 1 });
    }
    return results;
  }

  tubewright.components["read-outs"] = {
    props: { columns: Array, exhibits: Array, step: Number, named: Boolean, caption: String },
    setup(props) {
      const said = ({ name }) =>
        props.exhibits.some(({ steps }) => steps.some(({ row }) => tubewright.isNumber(row[name])));
      const { heading, shown, stateOf, stepOf } = tubewright;
      const rows = Vue.computed(() => props.columns.filter(said));
      const results = Vue.computed(() => resultsOf(props.exhibits));
      return { heading, many: MANY, results, rows, shown, stateOf, stepOf };
    },
    template: `
      <div class="tw-scroll" tabindex="0" role="region" :aria-label="caption">
        <table class="tw-table" :class="{ 'tw-many': exhibits.length > many }">
          <thead>
            <tr v-if="named" class="tw-results">
              <td></td>
              <th v-for="result in results" scope="colgroup" :colspan="result.count">{{
                result.name }}</th>
            </tr>
            <tr>
              <td></td>
              <th v-for="(exhibit, k) in exhibits" scope="col"><b class="tw-tag">{{ k + 1 }}</b>
                {{ exhibit.title }}</th>
            </tr>
          </thead>
          <tbody>
            <tr class="tw-states">
              <th scope="row">state</th>
              <td v-for="exhibit in exhibits">{{ stateOf(exhibit, step) }}</td>
            </tr>
            <tr v-for="column in rows" :data-column="column.name">
              <th scope="row">{{ heading(column) }}</th>
              <td v-for="exhibit in exhibits">{{
                shown(stepOf(exhibit, step).row[column.name], column.digits) }}</td>
            </tr>
          </tbody>
        </table>
      </div>`,
  };
})((globalThis.tubewright ??= { components: {} }));
