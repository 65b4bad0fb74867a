/* What colours and lines of the shapes mean: a colour bar to each quantity, a sample of the rest. */
(function (tubewright) {
  "use strict";

  const STOPS = 24;
  const rgb = ([red, green, blue]) => `rgb(${red} ${green} ${blue})`;

  function gradient(colours) {
    const last = colours.length / 3 - 1;
    const stops = Array.from({ length: STOPS + 1 }, (_, k) => {
      const at = 3 * Math.round((k / STOPS) * last);
      return rgb(colours.slice(at, at + 3));
    });
    return `linear-gradient(to right, ${stops.join(", ")})`;
  }

  const bar = ([name, scale]) => {
    const { values, digits } = tubewright.ticks(scale.low, scale.high, 4);
    const place = tubewright.axis([scale.low, scale.high], [0, 100]);
    const said = (value) => tubewright.withUnit(value, digits, scale.unit);
    return {
      name,
      heading: tubewright.heading(scale),
      style: { background: gradient(scale.colours) },
      ticks: values.map((value) => ({
        text: tubewright.shown(value, digits),
        style: { left: `${place(value)}%` },
      })),
      label: `${scale.title} from ${said(scale.low)} to ${said(scale.high)}, by colour`,
    };
  };

  tubewright.components["colour-keys"] = {
    props: { scales: Object, keys: Object, fixed: Boolean },
    setup(props) {
      return {
        bars: Vue.computed(() => Object.entries(props.scales).map(bar)),
        none: Vue.computed(() => props.scales.tension && rgb(props.scales.tension.none)),
        of: (key) => rgb(key.colour.map((share) => Math.round(255 * share))),
      };
    },
    template: `
      <div class="tw-keys">
        <figure v-for="bar in bars" :key="bar.name" class="tw-key">
          <figcaption>{{ bar.heading }}</figcaption>
          <div class="tw-colours" role="img" :aria-label="bar.label" :style="bar.style"></div>
          <div class="tw-ticks" aria-hidden="true">
            <span v-for="tick in bar.ticks" :style="tick.style">{{ tick.text }}</span>
          </div>
        </figure>
        <ul class="tw-samples">
          <li v-if="none"><svg width="34" height="10" aria-hidden="true">
            <path d="M0 5H34" :stroke="none" stroke-width="1.6" stroke-dasharray="6 4" /></svg>
            {{ scales.tension.none_title }}</li>
          <li><svg width="34" height="10" aria-hidden="true">
            <path d="M0 5H34" :stroke="of(keys.marks)" stroke-width="5" /></svg>
            {{ keys.marks.title }}</li>
          <li><svg width="34" height="10" aria-hidden="true">
            <path d="M0 2H34M0 8H34M6 0V10M28 0V10" :stroke="of(keys.start)" fill="none" /></svg>
            {{ keys.start.title }}</li>
        </ul>
        <p v-if="fixed" class="tw-note">These ranges stay the same at every setting; they are not
          those of the path. More than the greatest value has the last colour.</p>
      </div>`,
  };
})((globalThis.tubewright ??= { components: {} }));
