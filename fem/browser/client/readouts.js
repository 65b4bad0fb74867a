/* The numbers of the state that is shown: a row to each quantity, a column to each exhibit. */
import { h, memo } from "./dom.js";
import { isNumber, shown, valueOf } from "./numbers.js";

const MANY = 3; // more columns have smaller letters

/* What the state is called that an exhibit shows at a step: a shorter path stays at its end. */
export function stateOf({ steps }, step) {
  const ended = Number.isFinite(step) && step >= steps.length;
  return ended ? `${steps.at(-1).label}, its last` : steps[Math.min(step, steps.length - 1)].label;
}

export const stepOf = (exhibit, step) => exhibit.steps[Math.min(step, exhibit.steps.length - 1)];

/* The mark of a unit in a heading; a pure number has none. */
export const heading = ({ title, unit }) => (unit ? `${title} [${unit}]` : title);

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
export function readouts() {
  const rowsOf = memo((columns, exhibits) =>
    columns.filter(({ name }) =>
      exhibits.some(({ steps }) => steps.some(({ row }) => isNumber(row[name])))));
  return ({ columns, exhibits, step, named, caption }) => {
    const names = ({ name, count }) => h("th", { scope: "colgroup", colspan: count }, name);
    const number = (column) => (exhibit) => {
      const { row } = stepOf(exhibit, step);
      return h("td", shown(valueOf(row, column), column.digits));
    };
    const row = (column) =>
      h("tr", { "data-column": column.name },
        h("th", { scope: "row" }, heading(column)),
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
            exhibits.map((exhibit) => h("td", stateOf(exhibit, step)))),
          rowsOf(columns, exhibits).map(row))));
  };
}
