/* Requests of the page to its server; an error in a response is thrown as an Error. A setting that
   is refused has such an error with status 200, because browsers log any other status. */
import { unpack } from "./unpack.js";

async function request(path, options) {
  let response;
  try {
    response = await fetch(path, options);
  } catch {
    throw new Error("No response from tubewright: is it still running?");
  }
  const isJson = /json/.test(response.headers.get("Content-Type"));
  const data = isJson ? await response.json() : null;
  if (data?.error || !response.ok) {
    throw new Error(data?.error || `The server returned status ${response.status}.`);
  }
  return data ?? response;
}

const post = (body) => ({
  method: "POST",
  headers: { "Content-Type": "application/json" },
  body: JSON.stringify(body),
});
const pack = async (path, options) => unpack(await (await request(path, options)).arrayBuffer());

export const server = {
  scene: () => pack("scene"),
  study: () => request("study"),
  setting: (key) => pack(`study/${key}/scene`),
  live: () => request("live"),
  evaluate: (setting) => pack("live/evaluate", post(setting)),
  reach: ({ angles, slack: { rule, value } }) =>
    request(`live/reach?${new URLSearchParams({ slack: rule, value: value ?? "", angles })}`),
  solve: (setting) => request("live/fe", post(setting)),
  progress: (job) => request(`live/fe/${job}`),
  solved: (job) => pack(`live/fe/${job}/scene`),
  stop: (job) => request(`live/fe/${job}`, { method: "DELETE" }),
};

/* The name of this tab: the server solves one setting per tab. */
export const tab = crypto.randomUUID();

/* Run `work` one call at a time; of the calls made meanwhile only the newest is run. */
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
