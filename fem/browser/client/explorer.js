/* The live explorer: its setting, the fast model's answer to it at once, and FE solves of it. */
import { memo, redraw } from "./dom.js";
import { withUnit } from "./numbers.js";
import { newest, tab } from "./server.js";

const ASK_AGAIN = 400; // ms between two questions how far a solve is
const STATES = { done: "Done", failed: "Failed", stopped: "Stopped" };

const wait = (time) => new Promise((done) => setTimeout(done, time));
const middle = ({ low, high }) => (low + high) / 2;

/* What is set at first, by what the server offers. */
function atFirst({ families, slack, pressure }) {
  const numbered = slack.rules.filter(({ unit }) => unit);
  const values = Object.fromEntries(numbered.map((rule) => [rule.rule, middle(rule)]));
  if (slack.value !== null) values[slack.rule] = slack.value;
  return {
    angles: families.map(({ value }) => value), rule: slack.rule, values,
    pressure: pressure.value,
  };
}

/* What is requested of the server for a setting. */
function requested({ angles, rule, values, pressure }) {
  const slack = rule in values ? { rule, value: values[rule] } : { rule };
  return { angles: [...angles], slack, pressure };
}

/* A setting in words. */
function inWords({ angles, slack, pressure }, { families, slack: { rules }, ...offer }) {
  const said = (value, unit) => withUnit(value, 1, unit);
  const set = families.map(({ name, unit }, k) => `${name} ${said(angles[k], unit)}`);
  const { unit } = rules.find(({ rule }) => rule === slack.rule);
  const value = unit ? ` ${said(slack.value, unit)}` : "";
  if (families.length) set.push(`slack ${slack.rule}${value}`);
  return [...set, said(pressure, offer.pressure.unit)].join(", ");
}

/* FE solves, one at a time: how far one is, and the shape and setting of the last. */
class Solver {
  constructor(server) {
    Object.assign(this, { server, shape: null, of: null, running: false, said: "" });
  }

  note(more) {
    Object.assign(this, more);
    redraw();
  }

  async follow(setting) {
    let answer = { state: "running" };
    while (answer.state === "running") {
      await wait(ASK_AGAIN);
      answer = await this.server.progress(this.job);
      this.note({ done: answer.done, steps: answer.steps, said: answer.reason });
    }
    if (answer.state === "done") {
      this.note({ shape: await this.server.solved(this.job), of: setting });
    }
    this.note({ said: [STATES[answer.state], answer.reason].filter(Boolean).join(": ") });
  }

  async solve(setting, resolution) {
    this.note({ job: "", running: true, done: 0, steps: 0, said: "" });
    try {
      const request = { ...setting, resolution, tab: tab };
      this.note({ job: (await this.server.solve(request)).job });
      await this.follow(setting);
    } catch (error) {
      this.note({ said: error.message });
    }
    this.note({ running: false });
  }

  async stop() {
    await this.server.stop(this.job).catch((error) => this.note({ said: error.message }));
  }
}

/* An explorer of what the server offers. */
export class Explorer {
  constructor(offer, server) {
    Object.assign(this, { offer, fast: null, of: null, reach: null, fault: "" });
    this.setting = atFirst(offer);
    this.resolution = offer.resolution;
    this.refused = new Map(); // why, by fields
    this.solver = new Solver(server);
    this.evaluate = newest(async (wanted) => {
      try {
        this.fast = await server.evaluate(wanted);
        this.of = wanted;
        this.fault = "";
      } catch (error) {
        this.fault = error.message;
      }
      redraw();
    });
    this.map = newest(async (wanted) => {
      // where there is none, the reason stands below the setting already
      this.reach = await server.reach(wanted).catch(() => null);
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

  /* Ask the server for what has changed. */
  update() {
    const { angles, rule, values } = this.setting;
    this.refresh(JSON.stringify(this.requested), this.valid);
    // the set is over the first two angles, so these do not change it, nor does the pressure
    this.refreshMap(JSON.stringify([rule, values[rule], ...angles.slice(2)]));
  }

  /* Note why a field holds a number that is not allowed; empty if it is, or is gone. */
  refuse(field, why) {
    if (why) this.refused.set(field, why);
    else this.refused.delete(field);
    redraw();
  }

  solve() {
    this.solver.solve(this.requested, this.resolution);
  }

  /* Of which setting shape and read-outs are while the one that is wanted is refused. */
  get lastValid() {
    if (!this.of || (this.valid && !this.fault)) return "";
    return `Showing the last valid setting: ${inWords(this.of, this.offer)}.`;
  }

  /* Of which setting the FE shape is, if not of the one that is set. */
  get otherSetting() {
    const { of } = this.solver;
    if (!of || JSON.stringify(of) === JSON.stringify(this.requested)) return "";
    return `The FE model is of another setting: ${inWords(of, this.offer)}.`;
  }
}
