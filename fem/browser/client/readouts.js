/* The numbers of the state that is shown: a row to each quantity, a column to each exhibit. */
(function (tubewright) {
  "use strict";

  const { h } = tubewright;

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

  /* A component: the table. */
  tubewright.readouts = function () {
    const rowsOf = tubewright.memo((columns, exhibits) =>
      columns.filter(({ name }) =>
        exhibits.some(({ steps }) => steps.some(({ row }) => tubewright.isNumber(row[name])))));
    return ({ columns, exhibits, step, named, caption }) => {
      const names = ({ name, count }) => h("th", { scope: "colgroup", colspan: count }, name);
      const number = (column) => (exhibit) => {
        const { row } = tubewright.stepOf(exhibit, step);
        return h("td", tubewright.shown(tubewright.valueOf(row, column), column.digits));
      };
      const row = (column) =>
        h("tr", { "data-column": column.name },
          h("th", { scope: "row" }, tubewright.heading(column)),
          exhibits.map(number(column)));
      return h("div.tw-scroll", { tabindex: 0, role: "region", "aria-label": caption },
        h("table.tw-table", { class: exhibits.length > MANY ? "tw-many" : "" },
          h("thead",
            named && h("tr.tw-results", h("td"), resultsOf(exhibits).map(names)),
            h("tr",
              h("td"),
              exhibits.map(({ title }, k) =>
                h("th", { scope: "col" }, h("b.tw-tag", k + 1), " ", title)))),
          h("tbody",
            h("tr.tw-states",
              h("th", { scope: "row" }, "state"),
              exhibits.map((exhibit) => h("td", tubewright.stateOf(exhibit, step)))),
            rowsOf(columns, exhibits).map(row))));
    };
  };
})((globalThis.tubewright ??= {}));
