/* Format of numbers, and their places on an axis. */

const MINUS = "\u2212";
const UNITS = { deg: "\u00b0" };

export const isNumber = (value) => typeof value === "number" && Number.isFinite(value);

/* The number of a row in a column, in the column's unit. */
export const valueOf = (row, { name, factor }) =>
  isNumber(row[name]) ? factor * row[name] : null;

export const trueMinus = (text) => text.replace("-", MINUS);
export const capital = (text) => text.slice(0, 1).toUpperCase() + text.slice(1);

/* A number with a given number of decimals and a true minus sign; round-off becomes zero. */
export function formatted(value, digits) {
  if (!isNumber(value)) return "\u2013";
  const text = value.toFixed(digits);
  return Number(text) === 0 ? (0).toFixed(digits) : trueMinus(text);
}

/* A number with its unit; there is no space before a degree sign. */
export function withUnit(value, digits, unit) {
  const text = formatted(value, digits);
  return UNITS[unit] ? `${text}${UNITS[unit]}` : `${text}\u00a0${unit}`.trimEnd();
}

/* A number as typed, with its unit. */
export const typedNumber = (value, unit) => {
  const text = trueMinus(String(Number(value.toPrecision(6))));
  return text + (UNITS[unit] ?? `\u00a0${unit}`);
};

/* The greatest of 1, 2, 5 times a power of ten that is at most `limit`. */
export function roundBelow(limit) {
  const power = 10 ** Math.floor(Math.log10(limit));
  return power * [5, 2, 1].find((times) => times * power <= limit * (1 + 1e-9));
}

/* About `count` round numbers from `low` to `high`, and the decimals that they need. */
export function ticks(low, high, count) {
  const width = roundBelow((1.6 * (high - low)) / count);
  const first = Math.ceil(low / width - 1e-6);
  const last = Math.floor(high / width + 1e-6);
  return {
    values: Array.from({ length: last - first + 1 }, (_, k) => (first + k) * width),
    digits: Math.max(0, -Math.floor(Math.log10(width) + 1e-9)),
  };
}

/* A range that contains some numbers, with a margin; not empty even if all are equal. */
export function span(numbers) {
  const low = Math.min(...numbers);
  const high = Math.max(...numbers);
  const margin = Math.max(0.06 * (high - low), 1e-3 * Math.max(1, Math.abs(high)));
  return [low - margin, high + margin];
}

/* The map from [low, high] to [start, end]. */
export const axis = ([low, high], [start, end]) => (value) =>
  start + ((value - low) / (high - low)) * (end - start);
