/* The live bench: its setting, the fast model's answer to it at once, and FE solves of it. */
(function (tubewright) {
  "use strict";

  const { reactive, shallowRef, ref } = Vue;

  const LOOK_AGAIN = 400; // ms between two questions how far a solve is
  const RULES = {
    "taken up": { title: "taken up" },
    given: { title: "given", unit: "%", value: 3 },
    "cut at": { title: "cut at an angle", unit: "deg", value: 30 },
    "as in the case": { title: "as in the case" },
  };

  const tab = Math.random().toString(36).slice(2); // the server gives a tab one solve at a time
  const wait = (time) => new Promise((done) => setTimeout(done, time));

  /* What is asked of the server for a setting. */
  function asked({ angles, rule, values, pressure }) {
    const slack = RULES[rule].unit ? { rule, value: values[rule] } : { rule };
    return { angles: [...angles], slack, pressure };
  }

  /* A setting in words, by the names of the families. */
  function inWords({ angles, slack, pressure }, families) {
    const set = families.map(({ name }, k) => `${name} ${tubewright.withUnit(angles[k], 1, "deg")}`);
    const { unit } = RULES[slack.rule];
    const value = unit ? ` ${tubewright.withUnit(slack.value, 1, unit)}` : "";
    return [...set, `slack ${slack.rule}${value}`, tubewright.withUnit(pressure, 1, "kPa")].join(", ");
  }

  /* The slack rules that the server offers, by name. */
  tubewright.slackRules = (offer) =>
    Object.fromEntries(offer.slack.rules.map(({ rule }) => [rule, RULES[rule]]));

  /* A bench on what the server offers: {families, slack, pressure, resolution}. */
  tubewright.newBench = function (offer, server) {
    const values = { given: RULES.given.value, "cut at": RULES["cut at"].value };
    if (offer.slack.value !== undefined) values[offer.slack.rule] = offer.slack.value;
    const setting = reactive({
      angles: offer.families.map(({ angle_deg }) => angle_deg),
      rule: offer.slack.rule,
      values,
      pressure: offer.pressure.value,
    });
    const [fast, solved, reach] = [shallowRef(null), shallowRef(null), shallowRef(null)];
    const [fault, solvedSetting] = [ref(""), ref(null)];
    const job = reactive({ id: "", done: 0, steps: 0, said: "" });

    const settle = tubewright.newest(async (setting) => {
      try {
        fast.value = await server.settle(setting);
        fault.value = "";
      } catch (error) {
        fault.value = error.message;
      }
    });

    const map = tubewright.newest(async (slack) => {
      try {
        reach.value = await server.reach(slack);
      } catch {
        reach.value = null; // the sentence why stands below the setting already
      }
    });

    async function follow(setting) {
      let state = { state: "running" };
      while (state.state === "running") {
        await wait(LOOK_AGAIN);
        state = await server.progress(job.id);
        Object.assign(job, { done: state.done, steps: state.steps });
      }
      if (state.state === "done") {
        solved.value = await server.solved(job.id);
        solvedSetting.value = setting;
      }
      const [first, ...rest] = state.state;
      job.said = [first.toUpperCase() + rest.join(""), state.reason].filter(Boolean).join(": ");
    }

    async function solve() {
      const setting = asked(bench.setting);
      Object.assign(job, { id: "?", done: 0, steps: 0, said: "Solving by FE" });
      try {
        job.id = (await server.solve({ ...setting, resolution: offer.resolution, tab })).job;
        await follow(setting);
      } catch (error) {
        job.said = error.message;
      }
      job.id = "";
    }

    const bench = {
      offer,
      setting,
      fast,
      solved,
      reach,
      fault,
      job,
      solve,
      settle: () => settle(asked(setting)),
      map: () => map(asked(setting).slack),
      stop: () => server.stop(job.id).catch((error) => (job.said = error.message)),
      /* Of which setting the FE shape is, if not of the one that is set. */
      otherSetting() {
        const of = solvedSetting.value;
        if (!of || JSON.stringify(of) === JSON.stringify(asked(setting))) return "";
        return `FE model of another setting: ${inWords(of, offer.families)}.`;
      },
    };
    return bench;
  };
})((globalThis.tubewright ??= { components: {} }));
