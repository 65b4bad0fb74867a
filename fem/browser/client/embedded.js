/* Shows the scenes of a page, each when it first comes into sight. */
(function (tubewright) {
  "use strict";

  async function begin(place, inflate) {
    const pack = tubewright.unpack(await inflate(place.dataset.pack));
    place.removeAttribute("data-pack"); // megabytes that are no longer needed
    tubewright.mount(tubewright.scene, { pack }, place);
  }

  tubewright.show = function (inflate) {
    const watcher = new IntersectionObserver(
      (entries) => {
        for (const { isIntersecting, target } of entries) {
          if (!isIntersecting) continue;
          watcher.unobserve(target);
          begin(target, inflate);
        }
      },
      { rootMargin: "200px" },
    );
    for (const place of document.querySelectorAll(".tw-scene")) watcher.observe(place);
  };
})((globalThis.tubewright ??= {}));
