/* Shows the scenes of a page, each when it first becomes visible. */
import { h, mount, redraw } from "./dom.js";
import { Display } from "./display.js";
import { pathView } from "./path.js";
import { unpack } from "./unpack.js";

/* A component: shapes, slider, colour bars and values of a pack. */
function scene({ pack }) {
  const display = new Display();
  let ready = false;
  const drawn = () => {
    if (!ready) redraw();
    ready = true;
  };
  return () =>
    h("div.tubewright", { "aria-busy": String(!ready) },
      h(pathView, { pack, display, curves: false, level: "p", drawn }));
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
