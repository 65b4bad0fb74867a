/* Shows the scenes of a page, each when it first comes into sight. */
import { h, mount, redraw } from "./dom.js";
import { Look } from "./look.js";
import { pathSheet } from "./path.js";
import { unpack } from "./unpack.js";

/* A component: shapes, slider, colour bars and read-outs of a pack. */
function scene({ pack }) {
  const look = new Look();
  let ready = false;
  const drawn = () => {
    if (!ready) redraw();
    ready = true;
  };
  return () =>
    h("div.tubewright", { "aria-busy": String(!ready) },
      h(pathSheet, { pack, look, curves: false, level: "p", drawn }));
}

async function show(place) {
  const pack = unpack(await globalThis.inflateScene(place.dataset.pack));
  place.removeAttribute("data-pack"); // megabytes that are no longer needed
  mount(scene, { pack }, place);
}

const watcher = new IntersectionObserver(
  (entries) => {
    for (const { isIntersecting, target } of entries) {
      if (!isIntersecting) continue;
      watcher.unobserve(target);
      show(target);
    }
  },
  { rootMargin: "200px" },
);
for (const place of document.querySelectorAll(".tw-scene")) watcher.observe(place);
