/* The live explorer: its setting, the fast model evaluated at it, and FE solves of it. */
import { memo, redraw } from "./dom.js";
import { withUnit } from "./numbers.js";
import { newest, tab } from "./server.js";

const POLL_INTERVAL = 400; // ms between two requests for the progress of a solve
const STATES = { done: "Done", failed: "Failed", stopped: "Stopped" };

const wait = (time) => new Promise((done) => setTimeout(done, time));
const middle = ({ low, high }) => (low + high) / 2;

/* The first setting, from the ranges that the server sends. */
function firstSetting({ families, slack, pressure }) {
  const numbered = slack.rules.filter(({ unit }) => unit);
  const values = Object.fromEntries(numbered.map((rule) => [rule.rule, middle(rule)]));
  if (slack.value !== null) values[slack.rule] = slack.value;
  return {
    angles: families.map(({ value }) => value), rule: slack.rule, values,
    pressure: pressure.value,
  };
}

/* The data of a request for a setting. */
function requested({ angles, rule, values, pressure }) {
  const slack = rule in values ? { rule, value: values[rule] } : { rule };
  return { angles: [...angles], slack, pressure };
}

/* A setting as text. */
function textOf({ angles, slack, pressure }, { families, slack: { rules }, ...ranges }) {
  const text = (value, unit) => withUnit(value, 1, unit);
  const parts = families.map(({ name, unit }, k) => `${name} ${text(angles[k], unit)}`);
  const { unit } = rules.find(({ rule }) => rule === slack.rule);
  const value = unit ? ` ${text(slack.value, unit)}` : "";
  if (families.length) parts.push(`slack ${slack.rule}${value}`);
  return [...parts, text(pressure, ranges.pressure.unit)].join(", ");
}

/* One FE solve at a time: progress and status, and shape and setting of the last result. */
class Solver {
  constructor(server) {
    Object.assign(this, { server, shape: null, of: null, running: false, status: "" });
  }

  update(values) {
    Object.assign(this, values);
    redraw();
  }

  async follow(setting) {
    let progress = { state: "running" };
    while (progress.state === "running") {
      await wait(POLL_INTERVAL);
      progress = await this.server.progress(this.job);
      this.update({ done: progress.done, steps: progress.steps, status: progress.reason });
    }
    if (progress.state === "done") {
      this.update({ shape: await this.server.solved(this.job), of: setting });
    }
    this.update({ status: [STATES[progress.state], progress.reason].filter(Boolean).join(": ") });
  }

  async solve(setting, resolution) {
    this.update({ job: "", running: true, done: 0, steps: 0, status: "" });
    try {
      const request = { ...setting, resolution, tab: tab };
      this.update({ job: (await this.server.solve(request)).job });
      await this.follow(setting);
    } catch (error) {
      this.update({ status: error.message });
    }
    this.update({ running: false });
  }

  async stop() {
    await this.server.stop(this.job).catch((error) => this.update({ status: error.message }));
  }
}

/* An explorer within the ranges that the server sends. */
export class Explorer {
  constructor(ranges, server) {
    Object.assign(this, { ranges, fast: null, of: null, reach: null, fault: "" });
    this.setting = firstSetting(ranges);
    this.resolution = ranges.resolution;
    this.refused = new Map(); // messages of fields with values outside their range
    this.solver = new Solver(server);
    this.evaluate = newest(async (setting) => {
      try {
        this.fast = await server.evaluate(setting);
        this.of = setting;
        this.fault = "";
      } catch (error) {
        this.fault = error.message;
      }
      redraw();
    });
    this.map = newest(async (setting) => {
      // if there is none, the reason is shown below the setting
      this.reach = await server.reach(setting).catch(() => null);
      redraw();
    });
    this.refresh = memo((_, valid) => valid && this.evaluate(this.requested));
    this.refreshMap = memo(() => this.map(this.requested));
  }

  get requested() {
    return requested(this.setting);
  }

  get valid() {
    return !this.refused.size;
  }

  /* Request from the server what has changed. */
  update() {
    const { angles, rule, values } = this.setting;
    this.refresh(JSON.stringify(this.requested), this.valid);
    // the set covers the first two angles and all pressures, so they do not change it
    this.refreshMap(JSON.stringify([rule, values[rule], ...angles.slice(2)]));
  }

  /* Store the message of a field whose value is not allowed; empty if it is allowed. */
  refuse(field, message) {
    if (message) this.refused.set(field, message);
    else this.refused.delete(field);
    redraw();
  }

  solve() {
    this.solver.solve(this.requested, this.resolution);
  }

  /* The setting of shape and values, while the requested one is refused. */
  get lastValid() {
    if (!this.of || (this.valid && !this.fault)) return "";
    return `Showing the last valid setting: ${textOf(this.of, this.ranges)}.`;
  }

  /* The setting of the FE shape, if it is not the current one. */
  get otherSetting() {
    const { of } = this.solver;
    if (!of || JSON.stringify(of) === JSON.stringify(this.requested)) return "";
    return `The FE result is for another setting: ${textOf(of, this.ranges)}.`;
  }
}
