/* The numbers of the state that is shown: a row to each quantity, a column to each exhibit. */
(function (tubewright) {
  "use strict";

  const MOST_NAMED = 3; // columns whose results are named; of more the number has to do

  tubewright.stepOf = (exhibit, step) => exhibit.steps[Math.min(step, exhibit.steps.length - 1)];

  /* The mark of a unit in a heading; a pure number has none. */
  tubewright.heading = ({ title, unit }) => (unit ? `${title} [${unit}]` : title);

  tubewright.components["read-outs"] = {
    props: { columns: Array, exhibits: Array, step: Number, named: Boolean, caption: String },
    setup(props) {
      const said = ({ name }) =>
        props.exhibits.some(({ steps }) => steps.some(({ row }) => tubewright.isNumber(row[name])));
      const { heading, shown, stepOf } = tubewright;
      const rows = Vue.computed(() => props.columns.filter(said));
      return { heading, most: MOST_NAMED, rows, shown, stepOf };
    },
    template: `
      <div class="tw-scroll" tabindex="0" role="region" :aria-label="caption">
        <table class="tw-table" :class="{ 'tw-many': exhibits.length > most }">
          <thead>
            <tr>
              <td></td>
              <th v-for="(exhibit, k) in exhibits" scope="col"><b class="tw-tag">{{ k + 1 }}</b>
                <span v-if="named && exhibits.length <= most">{{ exhibit.name }}, </span>{{
                  exhibit.title }}</th>
            </tr>
          </thead>
          <tbody>
            <tr>
              <th scope="row">state</th>
              <td v-for="exhibit in exhibits">{{ stepOf(exhibit, step).label }}</td>
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
