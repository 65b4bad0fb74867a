/* What the page asks its server; an answer that is an error becomes an Error with its sentence.  A
   setting that is refused is answered by such an error with status 200, of which no browser
   complains. */
import { unpack } from "./unpack.js";

async function ask(path, options) {
  let answer;
  try {
    answer = await fetch(path, options);
  } catch {
    throw new Error("No answer from tubewright: has it been stopped?");
  }
  const told = /json/.test(answer.headers.get("Content-Type"));
  const said = told ? await answer.json() : null;
  if (said?.error || !answer.ok) {
    throw new Error(said?.error || `The server answered ${answer.status}.`);
  }
  return said ?? answer;
}

const post = (body) => ({
  method: "POST",
  headers: { "Content-Type": "application/json" },
  body: JSON.stringify(body),
});
const pack = async (path, options) => unpack(await (await ask(path, options)).arrayBuffer());

export const server = {
  scene: () => pack("scene"),
  study: () => ask("study"),
  setting: (key) => pack(`study/${key}/scene`),
  live: () => ask("live"),
  evaluate: (setting) => pack("live/settle", post(setting)),
  reach: ({ angles, slack: { rule, value } }) =>
    ask(`live/reach?${new URLSearchParams({ slack: rule, value: value ?? "", angles })}`),
  solve: (setting) => ask("live/fe", post(setting)),
  progress: (job) => ask(`live/fe/${job}`),
  solved: (job) => pack(`live/fe/${job}/scene`),
  stop: (job) => ask(`live/fe/${job}`, { method: "DELETE" }),
};

/* The name of this tab: the server solves one setting for each. */
export const tab = crypto.randomUUID();

/* Let `work` run once at a time; of the calls that come meanwhile only the newest is kept. */
export function newest(work) {
  let [waiting, busy] = [[], false];
  return async (value) => {
    waiting = [value];
    if (busy) return;
    busy = true;
    while (waiting.length) await work(waiting.pop());
    busy = false;
  };
}
