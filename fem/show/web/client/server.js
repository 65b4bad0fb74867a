/* What the page asks its server; an answer that is an error becomes an Error with its sentence. */
(function (tubewright) {
  "use strict";

  async function ask(path, options) {
    let answer;
    try {
      answer = await fetch(path, options);
    } catch {
      throw new Error("No answer from tubewright: has it been stopped?");
    }
    if (answer.ok) return answer;
    const { error } = await answer.json().catch(() => ({}));
    throw new Error(error || `The server answered ${answer.status}.`);
  }

  const post = (body) => ({
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(body),
  });
  const json = async (path, options) => (await ask(path, options)).json();
  const pack = async (path, options) =>
    tubewright.unpack(await (await ask(path, options)).arrayBuffer());

  tubewright.server = {
    scene: () => pack("scene"),
    study: () => json("study"),
    setting: (key) => pack(`study/${key}/scene`),
    live: () => json("live"),
    settle: (setting) => pack("live/settle", post(setting)),
    reach: ({ angles, slack: { rule, value } }) =>
      json(`live/reach?${new URLSearchParams({ slack: rule, value: value ?? "", angles })}`),
    solve: (setting) => json("live/fe", post(setting)),
    progress: (job) => json(`live/fe/${job}`),
    solved: (job) => pack(`live/fe/${job}/scene`),
    stop: (job) => ask(`live/fe/${job}`, { method: "DELETE" }),
  };

  /* The name of this tab: the server solves one setting for each. */
  tubewright.tab = crypto.randomUUID();

  /* Let `work` run once at a time; of the calls that come meanwhile only the newest is kept. */
  tubewright.newest = function (work) {
    let waiting = null;
    let busy = false;
    return async function (value) {
      waiting = { value };
      if (busy) return;
      busy = true;
      while (waiting) {
        const { value: next } = waiting;
        waiting = null;
        await work(next);
      }
      busy = false;
    };
  };
})((globalThis.tubewright ??= { components: {} }));
