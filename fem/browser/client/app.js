/* A scene of a report: shapes, slider, colour bars and read-outs of a pack. */
(function (tubewright) {
  "use strict";

  const { h } = tubewright;

  tubewright.scene = function ({ pack }) {
    const look = tubewright.newLook();
    let drawn = false;
    return () =>
      h("div.tubewright", { "aria-busy": String(!drawn) },
        h(tubewright.pathSheet, {
          pack, look,
          curves: false, level: "p",
          drawn() {
            if (!drawn) tubewright.redraw();
            drawn = true;
          },
        }));
  };
})((globalThis.tubewright ??= {}));
