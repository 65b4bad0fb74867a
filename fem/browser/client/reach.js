/* The reachable set: displacement across, twist up, over all angles at a few pressures, and where
   the states of the bench lie in it. */
(function (tubewright) {
  "use strict";

  const { computed, ref } = Vue;

  const HEIGHT = 340;

  /* Twice the area of a quadrilateral, negative if its corners run the other way round. */
  const area = ([a, b, c, d]) =>
    (c[0] - a[0]) * (d[1] - b[1]) - (d[0] - b[0]) * (c[1] - a[1]);

  /* The cells of a grid of points, all running the same way round: equal families reach each place
     twice, and one must not blot out the other. A cell that lacks a corner is left out. */
  function cellsOf({ grid: [rows, columns], points }) {
    if (rows === 1 || columns === 1) return [points.filter(Boolean)]; // a line
    const at = (i, j) => points[i * columns + j];
    const cells = [];
    for (let i = 0; i + 1 < rows; i += 1) {
      for (let j = 0; j + 1 < columns; j += 1) {
        const corners = [at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j)];
        if (!corners.every(Boolean)) continue;
        cells.push(area(corners) < 0 ? corners.reverse() : corners);
      }
    }
    return cells;
  }

  /* Cells as one path; only four corners enclose something. */
  function net(cells, x, y) {
    const walk = (corners) => corners.map((p) => `${x(p[0]).toFixed(1)} ${y(p[1]).toFixed(1)}`);
    return cells
      .filter((corners) => corners.length > 1)
      .map((corners) => `M${walk(corners).join("L")}${corners.length === 4 ? "Z" : ""}`)
      .join("");
  }

  tubewright.components["reach-map"] = {
    props: { reach: Object, exhibits: Array },
    setup(props) {
      const width = ref(400);
      const known = computed(() =>
        props.reach.levels.map((level) => {
          const cells = cellsOf(level);
          return { pressure: level.pressure, cells, known: cells.flat() };
        }),
      );
      const states = computed(() =>
        props.exhibits.map(({ model, title, steps }) => {
          const { row } = steps.at(-1);
          return { model, title, across: row.displacement_mm, along: row.twist_deg };
        }),
      );
      // the same object as long as it is equal, so that a moving point redraws only itself
      const range = computed((old) => {
        const all = known.value.flatMap((level) => level.known);
        const across = [...all.map(([d]) => d), ...states.value.map((s) => s.across), 0];
        const along = [...all.map(([, t]) => t), ...states.value.map((s) => s.along), 0];
        const now = [tubewright.span(across), tubewright.span(along)];
        return JSON.stringify(now) === JSON.stringify(old) ? old : now;
      });
      const axes = computed(() => tubewright.axes(...range.value, width.value, HEIGHT));
      const levels = computed(() => {
        const { x, y } = axes.value;
        return known.value
          .filter((level) => level.known.length)
          .sort((one, other) => other.pressure - one.pressure)
          .map((level, k) => {
            const [d, t] = level.known.reduce((top, p) => (p[1] > top[1] ? p : top));
            return {
              classes: `tw-level-${Math.min(k, 3)}`,
              net: net(level.cells, x, y),
              text: tubewright.withUnit(level.pressure, 1, "kPa").replace(".0", ""),
              x: x(d),
              y: Math.max(y(t) - 5, 11),
            };
          });
      });
      const least = computed(() => Math.min(...states.value.map(({ across }) => across)));
      const marks = computed(() =>
        states.value.map(({ model, across, along }, k) => ({
          model,
          tag: k + 1,
          x: axes.value.x(across),
          y: axes.value.y(along),
          size: model === "fe" ? 3.5 : 6, // a disc in a square: both are seen in one place
          // of the mark, where its number stands: away from the other one
          side: states.value.length > 1 && across === least.value ? -1 : 1,
        })),
      );
      const label = computed(() => {
        const said = states.value.map(
          ({ title, across, along }) =>
            `${title} at displacement ${tubewright.withUnit(across, 2, "mm")}, twist ` +
            tubewright.withUnit(along, 2, "deg"),
        );
        return `Reachable set, displacement across, twist up: ${said.join("; ")}`;
      });
      return { HEIGHT, axes, label, levels, marks, width };
    },
    template: `
      <p class="tw-above">twist [deg]</p>
      <chart-frame :axes="axes" :width="width" :height="HEIGHT" across="displacement [mm]"
        :label="label" @width="width = $event">
        <path v-for="level in levels" :class="level.classes" :d="level.net" />
        <text v-for="level in levels" class="tw-halo" :x="level.x" :y="level.y"
          text-anchor="middle">{{ level.text }}</text>
        <template #over>
        <circle v-for="mark in marks" class="tw-paper" :cx="mark.x" :cy="mark.y" r="10" />
        <g v-for="mark in marks" class="tw-curve tw-point" :class="'tw-' + mark.model">
          <chart-mark :model="mark.model" :x="mark.x" :y="mark.y" :size="mark.size" />
          <text class="tw-halo" :x="mark.x + 13 * mark.side" :y="mark.y + 4"
            :text-anchor="mark.side > 0 ? 'start' : 'end'">{{ mark.tag }}</text>
        </g>
        </template>
      </chart-frame>`,
  };
})((globalThis.tubewright ??= { components: {} }));
