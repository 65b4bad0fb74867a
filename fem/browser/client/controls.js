/* Controls that several parts of the page use. */
import { h } from "./dom.js";

export const button = (text, onclick, more = {}) =>
  h("button", { type: "button", onclick, ...more }, text);

export const check = (text, checked, set, more = {}) =>
  h("label.tw-check",
    h("input", {
      type: "checkbox", checked, onchange: ({ target }) => set(target.checked), ...more,
    }),
    text);

/* A list to choose from; `optionOf` returns value, text and more of an option. */
export const choice = (options, optionOf, attributes) =>
  h("select", attributes,
    options.map((option, k) => {
      const { text, ...others } = optionOf(option, k);
      return h("option", others, text);
    }));

/* A field on its own line, below its label. */
export const field = (label, id, ...controls) =>
  h("div.tw-number", h("label", { for: id }, label), controls);

/* A field that is a list to choose from. */
export const listField = (label, id, value, options, optionOf, set) =>
  field(label, id,
    choice(options, optionOf, { id, value, onchange: ({ target }) => set(target.value) }));
