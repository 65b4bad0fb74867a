/* One exhibit in a picture of its own: canvas, scale bar and caption. */
(function (tubewright) {
  "use strict";

  const { computed, onBeforeUnmount, onMounted, ref, watch } = Vue;

  const MOST_PIXELS = 1.4e6; // of one picture
  const REST = 120; // ms without a change, after which edges are smoothed
  const MOST_BESIDE = 3; // pictures in a row
  const LONGEST_BAR = 90; // px
  const TURN = 0.5; // degrees for each px dragged
  const BY_KEY = 10; // degrees for each press of a key

  /* Turning by hand: what a drag, the wheel and the keys do to a look. */
  function hands(look, height) {
    let last = null;
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    const others = {
      "+": () => look.nearer(1.25),
      "=": () => look.nearer(1.25),
      "-": () => look.nearer(0.8),
      Home: () => look.preset("front"),
    };
    return {
      down(event) {
        last = [event.clientX, event.clientY];
        event.currentTarget.setPointerCapture(event.pointerId);
      },
      drag(event) {
        if (!last) return;
        const [x, y] = [event.clientX - last[0], event.clientY - last[1]];
        last = [event.clientX, event.clientY];
        if (event.shiftKey) look.move((2 * x) / height(), (-2 * y) / height());
        else look.turn(-TURN * x, TURN * y);
      },
      up() {
        last = null;
      },
      wheel(event) {
        if (!event.ctrlKey) return; // the wheel alone scrolls the page
        event.preventDefault();
        look.nearer(Math.exp(-0.002 * event.deltaY));
      },
      key(event) {
        if (event.ctrlKey || event.altKey || event.metaKey) return;
        const way = ways[event.key];
        const other = others[event.key];
        if (!way && !other) return;
        event.preventDefault();
        if (other) other();
        else if (event.shiftKey) look.move(0.1 * way[0], 0.1 * way[1]);
        else look.turn(-BY_KEY * way[0], BY_KEY * way[1]);
      },
    };
  }

  /* A canvas that paints what `scene` returns, once to each beat of the screen in which that has
     changed: plainly while it changes, with smooth edges when it rests. */
  tubewright.components["shape-canvas"] = {
    props: { exhibit: Object, over: Object, step: Number, look: Object },
    emits: ["drawn", "lost", "size"],
    setup(props, { emit }) {
      const canvas = ref(null);
      const size = ref(null); // width and height, CSS px
      let [painter, asked, resting] = [null, 0, 0];

      const scene = () => ({
        parts: tubewright.parts(props.exhibit, props.step, props.look),
        outline: tubewright.outline(props.over),
        camera: size.value && props.look.camera(size.value[0] / size.value[1]),
        size: size.value,
        light: props.exhibit.light,
        behind: props.exhibit.behind,
      });
      function paint(smooth) {
        const now = scene();
        if (!painter || !now.camera) return;
        painter.paint(now, smooth);
        emit("drawn");
      }
      function next() {
        asked = 0;
        paint(false);
        clearTimeout(resting);
        resting = setTimeout(paint, REST, true);
      }
      function measure([{ contentRect }]) {
        const { width, height } = contentRect;
        if (!width || !height) return;
        const most = Math.max(1, Math.sqrt(MOST_PIXELS / (width * height)));
        const ratio = Math.min(globalThis.devicePixelRatio || 1, most);
        canvas.value.width = Math.round(width * ratio);
        canvas.value.height = Math.round(height * ratio);
        size.value = [width, height];
        emit("size", size.value);
      }
      const watcher = new ResizeObserver(measure);

      onMounted(() => {
        try {
          painter = new tubewright.Painter(canvas.value);
        } catch {
          emit("lost");
          emit("drawn");
          return;
        }
        watcher.observe(canvas.value);
        watch(scene, () => {
          asked ||= requestAnimationFrame(next);
        });
        watch(
          () => [props.exhibit, props.over],
          () => painter.forget(),
        );
      });
      onBeforeUnmount(() => {
        watcher.disconnect();
        cancelAnimationFrame(asked);
        clearTimeout(resting);
        painter?.close();
        painter = null;
      });
      return { canvas };
    },
    template: '<canvas ref="canvas" @webglcontextlost="$emit(\'lost\')"></canvas>',
  };

  tubewright.components["shape-view"] = {
    props: {
      exhibit: Object,
      over: Object,
      tag: Number,
      step: Number,
      look: Object,
      named: Boolean,
    },
    emits: ["drawn"],
    setup(props) {
      const size = ref([1, 1]);
      const shownStep = computed(() => Math.min(props.step, props.exhibit.steps.length - 1));
      const bar = computed(() => {
        const [width, height] = size.value;
        const unit = (2 * props.look.camera(width / height).half) / height; // mm for each px
        const length = tubewright.roundBelow(LONGEST_BAR * unit);
        return { length: Number(length.toPrecision(1)), width: `${length / unit}px` };
      });
      return {
        bar,
        hand: hands(props.look, () => size.value[1]),
        label: computed(() => tubewright.stateOf(props.exhibit, props.step)),
        shaped: computed(() => props.exhibit.solids.some(({ role }) => role === "wall")),
        lost: ref(false),
        shownStep,
        size,
      };
    },
    template: `
      <figure class="tw-shape">
        <figcaption><b class="tw-tag">{{ tag }}</b> <span v-if="named">{{ exhibit.name }}, </span
          >{{ exhibit.title }} <span class="tw-state">{{
            label }}</span></figcaption>
        <p v-if="lost" class="tw-lost">This browser shows no 3D pictures: WebGL 2 is missing or
          was stopped. All numbers and curves are here none the less.</p>
        <div v-else class="tw-stage" tabindex="0" role="application"
          :aria-label="'Shape ' + tag + ', ' + exhibit.title + ', ' + label
            + '. Arrow keys turn it, plus and minus zoom, Shift with arrows moves, Home resets.'"
          @pointerdown="hand.down" @pointermove="hand.drag" @pointerup="hand.up"
          @pointercancel="hand.up" @wheel="hand.wheel" @keydown="hand.key">
          <shape-canvas :exhibit="exhibit" :over="over" :step="shownStep" :look="look"
            @drawn="$emit('drawn')" @lost="lost = true" @size="size = $event" />
          <div class="tw-scale"><i :style="{ width: bar.width }"></i>{{ bar.length }} mm
            <span v-if="over">outline: {{ over.title }}</span></div>
        </div>
        <p v-if="!shaped" class="tw-note">Figures only: of the shape no more is known than the
          plates.</p>
        <p v-if="exhibit.note" class="tw-note">{{ exhibit.note }}</p>
      </figure>`,
  };

  /* Shapes side by side. */
  tubewright.components["shape-row"] = {
    props: { exhibits: Array, over: Object, step: Number, look: Object, named: Boolean },
    emits: ["drawn"],
    setup(props, { emit }) {
      const columns = computed(() => {
        const count = Math.max(1, props.exhibits.length);
        return Math.ceil(count / Math.ceil(count / MOST_BESIDE));
      });
      onMounted(() => props.exhibits.length || emit("drawn"));
      return { columns };
    },
    template: `
      <div v-if="exhibits.length" class="tw-views" :style="{ '--columns': columns }">
        <shape-view v-for="(exhibit, k) in exhibits" :key="k" :exhibit="exhibit" :tag="k + 1"
          :over="exhibit === over ? null : over" :step="step" :look="look" :named="named"
          @drawn="$emit('drawn')" />
      </div>`,
  };
})((globalThis.tubewright ??= { components: {} }));
