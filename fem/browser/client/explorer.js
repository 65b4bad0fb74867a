/* The live bench: its setting, the fast model's answer to it at once, and FE solves of it. */
(function (tubewright) {
  "use strict";

  const { computed, reactive, shallowRef, ref } = Vue;

  const LOOK_AGAIN = 400; // ms between two questions how far a solve is
  const STATES = { done: "Done", failed: "Failed", stopped: "Stopped" };

  const wait = (time) => new Promise((done) => setTimeout(done, time));
  const middle = ({ low, high }) => (low + high) / 2;

  /* What is set at first, by what the server offers. */
  function atFirst({ families, slack, pressure }) {
    const numbered = slack.rules.filter(({ unit }) => unit);
    const values = Object.fromEntries(numbered.map((rule) => [rule.rule, middle(rule)]));
    if (slack.value !== null) values[slack.rule] = slack.value;
    return reactive({
      angles: families.map(({ angle_deg }) => angle_deg),
      rule: slack.rule,
      values,
      pressure: pressure.value,
    });
  }

  /* What is asked of the server for a setting. */
  function asked({ angles, rule, values, pressure }) {
    const slack = rule in values ? { rule, value: values[rule] } : { rule };
    return { angles: [...angles], slack, pressure };
  }

  /* A setting in words. */
  function inWords({ angles, slack, pressure }, { families, slack: { rules } }) {
    const said = (value, unit) => tubewright.withUnit(value, 1, unit);
    const set = families.map(({ name }, k) => `${name} ${said(angles[k], "deg")}`);
    const { unit } = rules.find(({ rule }) => rule === slack.rule);
    const value = unit ? ` ${said(slack.value, unit)}` : "";
    if (families.length) set.push(`slack ${slack.rule}${value}`);
    return [...set, said(pressure, "kPa")].join(", ");
  }

  /* FE solves, one at a time: how far one is, and the shape and setting of the last. */
  function newSolver(offer, server) {
    const job = reactive({ id: "", running: false, done: 0, steps: 0, said: "" });
    const [shape, of] = [shallowRef(null), shallowRef(null)];

    async function follow(setting) {
      let answer = { state: "running" };
      while (answer.state === "running") {
        await wait(LOOK_AGAIN);
        answer = await server.progress(job.id);
        Object.assign(job, { done: answer.done, steps: answer.steps, said: answer.reason });
      }
      if (answer.state === "done") {
        shape.value = await server.solved(job.id);
        of.value = setting;
      }
      job.said = [STATES[answer.state], answer.reason].filter(Boolean).join(": ");
    }

    async function solve(setting, resolution) {
      Object.assign(job, { id: "", running: true, done: 0, steps: 0, said: "" });
      try {
        job.id = (await server.solve({ ...setting, resolution, tab: tubewright.tab })).job;
        await follow(setting);
      } catch (error) {
        job.said = error.message;
      }
      job.running = false;
    }

    async function stop() {
      await server.stop(job.id).catch((error) => (job.said = error.message));
    }

    return { job, shape, of, solve, stop };
  }

  /* A bench on what the server offers. */
  tubewright.newBench = function (offer, server) {
    const setting = atFirst(offer);
    const [fast, of] = [shallowRef(null), shallowRef(null)];
    const [reach, fault] = [shallowRef(null), ref("")];
    const refused = reactive(new Map());
    const held = computed(() => refused.size > 0);
    const resolution = ref(offer.resolution);
    const solver = newSolver(offer, server);

    const settle = tubewright.newest(async (wanted) => {
      try {
        fast.value = await server.settle(wanted);
        of.value = wanted;
        fault.value = "";
      } catch (error) {
        fault.value = error.message;
      }
    });

    const map = tubewright.newest(async (wanted) => {
      try {
        reach.value = await server.reach(wanted);
      } catch {
        reach.value = null; // why stands below the setting already
      }
    });

    return {
      offer,
      setting,
      fast,
      reach,
      fault,
      resolution,
      solver,
      held,
      /* Note that a field holds a number that is not offered, or no longer does. */
      refuse: (field, why) => (why ? refused.set(field, why) : refused.delete(field)),
      settle: () => held.value || settle(asked(setting)),
      /* Of which setting shape and read-outs are while the one that is wanted is refused. */
      lastValid: computed(() => {
        if (!of.value || !(held.value || fault.value)) return "";
        return `Of the last valid setting: ${inWords(of.value, offer)}.`;
      }),
      map: () => map(asked(setting)),
      solve: () => solver.solve(asked(setting), resolution.value),
      /* Of which setting the FE shape is, if not of the one that is set. */
      otherSetting() {
        const of = solver.of.value;
        if (!of || JSON.stringify(of) === JSON.stringify(asked(setting))) return "";
        return `The FE model is of another setting: ${inWords(of, offer)}.`;
      },
    };
  };
})((globalThis.tubewright ??= { components: {} }));
