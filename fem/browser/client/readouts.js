/* The values of the state shown: one row per quantity, one column per view. */
import { h, memo } from "./dom.js";
import { formatted, isNumber, valueOf } from "./numbers.js";

const MANY = 3; // with more columns the text is smaller

/* The label of a view's state at a step; after its last step a shorter path stays there. */
export function stateOf({ steps }, step) {
  const ended = Number.isFinite(step) && step >= steps.length;
  const { label } = steps[Math.min(step, steps.length - 1)];
  return ended ? `${label} (last step)` : label;
}

export const stepOf = (view, step) => view.steps[Math.min(step, view.steps.length - 1)];

/* A title with its unit; a pure number has none. */
export const heading = ({ title, unit }) => (unit ? `${title} [${unit}]` : title);

/* The results of the views, each with the number of its views. */
function resultsOf(views) {
  const results = [];
  for (const { name } of views) {
    if (results.at(-1)?.name === name) results.at(-1).count += 1;
    else results.push({ name, count: 1 });
  }
  return results;
}

/* A component: the table. */
export function readouts() {
  const rowsOf = memo((columns, views) =>
    columns.filter(({ name }) =>
      views.some(({ steps }) => steps.some(({ row }) => isNumber(row[name])))));
  return ({ columns, views, step, named, caption }) => {
    const names = ({ name, count }) => h("th", { scope: "colgroup", colspan: count }, name);
    const number = (column) => (view) => {
      const { row } = stepOf(view, step);
      return h("td", formatted(valueOf(row, column), column.digits));
    };
    const row = (column) =>
      h("tr", { "data-column": column.name },
        h("th", { scope: "row" }, heading(column)),
        views.map(number(column)));
    return h("div.tw-scroll", { tabindex: 0, role: "region", "aria-label": caption },
      h("table.tw-table", { class: views.length > MANY ? "tw-many" : "" },
        h("thead",
          named && h("tr.tw-results", h("td"), resultsOf(views).map(names)),
          h("tr",
            h("td"),
            views.map(({ title }, k) =>
              h("th", { scope: "col" }, h("b.tw-tag", k + 1), " ", title)))),
        h("tbody",
          h("tr.tw-states",
            h("th", { scope: "row" }, "state"),
            views.map((view) => h("td", stateOf(view, step)))),
          rowsOf(columns, views).map(row))));
  };
}
