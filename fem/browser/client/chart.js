/* The frame of a chart: round axes on finely ruled paper, as wide as there is room. */
(function (tubewright) {
  "use strict";

  const { computed, onBeforeUnmount, onMounted, ref } = Vue;

  const LEFT = 52;
  const RIGHT = 26;
  const TOP = 12;
  const BOTTOM = 40;

  /* The axes of a chart of so many px: maps from values to places, ticks, frame. */
  tubewright.axes = function (across, along, width, height) {
    const [x0, x1, y0, y1] = [LEFT, Math.max(width - RIGHT, LEFT + 10), height - BOTTOM, TOP];
    const x = tubewright.axis(across, [x0, x1]);
    const y = tubewright.axis(along, [y0, y1]);
    const ticks = ([low, high], count, place) => {
      const { values, digits } = tubewright.ticks(low, high, count);
      return values.map((value) => ({ at: place(value), text: tubewright.shown(value, digits) }));
    };
    return {
      x,
      y,
      frame: { x0, x1, y0, y1 },
      right: ticks(across, (x1 - x0) / 70, x),
      up: ticks(along, (y0 - y1) / 42, y),
    };
  };

  /* What moves belongs into the slot `over`, a layer of its own: what lies below stays painted. */
  tubewright.components["chart-frame"] = {
    props: { axes: Object, width: Number, height: Number, across: String, label: String },
    emits: ["width"],
    setup(_, { emit }) {
      const box = ref(null);
      const watcher = new ResizeObserver(([entry]) => emit("width", entry.contentRect.width));
      onMounted(() => watcher.observe(box.value));
      onBeforeUnmount(() => watcher.disconnect());
      return { box };
    },
    template: `
      <div ref="box" class="tw-chart">
        <svg :width="width" :height="height" role="img" :aria-label="label">
          <g class="tw-ruled">
            <path v-for="tick in axes.right" :d="'M' + tick.at + ' ' + axes.frame.y0 + 'V'
              + axes.frame.y1" />
            <path v-for="tick in axes.up" :d="'M' + axes.frame.x0 + ' ' + tick.at + 'H'
              + axes.frame.x1" />
          </g>
          <path class="tw-axis" :d="'M' + axes.frame.x0 + ' ' + axes.frame.y1 + 'V'
            + axes.frame.y0 + 'H' + axes.frame.x1" />
          <text v-for="tick in axes.right" :x="tick.at" :y="axes.frame.y0 + 16"
            text-anchor="middle">{{ tick.text }}</text>
          <text v-for="tick in axes.up" :x="axes.frame.x0 - 6" :y="tick.at + 4"
            text-anchor="end">{{ tick.text }}</text>
          <text class="tw-across" :x="axes.frame.x1" :y="height - 6" text-anchor="end">{{
            across }}</text>
          <slot></slot>
        </svg>
        <svg class="tw-over" :width="width" :height="height" aria-hidden="true">
          <slot name="over"></slot>
        </svg>
      </div>`,
  };

  /* A point of a curve by the model it is of: a disc, a square or a cross. */
  tubewright.components["chart-mark"] = {
    props: { model: String, x: Number, y: Number, size: { type: Number, default: 3.5 } },
    template: `
      <circle v-if="model === 'fe'" class="tw-full" :cx="x" :cy="y" :r="size" />
      <rect v-else-if="model === 'fast'" class="tw-open" :x="x - size" :y="y - size"
        :width="2 * size" :height="2 * size" />
      <path v-else class="tw-open" :d="'M' + (x - size) + ' ' + (y - size) + 'l' + 2 * size + ' '
        + 2 * size + 'm0 ' + -2 * size + 'l' + -2 * size + ' ' + 2 * size" />`,
  };
})((globalThis.tubewright ??= { components: {} }));
