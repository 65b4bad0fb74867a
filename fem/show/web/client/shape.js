/* One exhibit in a picture of its own: its solids, camera, scale bar and caption. */
(function (tubewright) {
  "use strict";

  const { computed, inject, onBeforeUnmount, onMounted, ref, watch } = Vue;

  const MOST_PIXELS = 700e3; // of one picture; software rendering takes some 40 ns for each
  const LONGEST_BAR = 90; // px
  const TURN = 0.5; // degrees for each px dragged
  const BY_KEY = 10; // degrees for each press of a key
  const BY_POINT = 3; // coordinates by which colour arrays are looked up: by name, of points

  tubewright.hasWebGL = function () {
    const canvas = document.createElement("canvas");
    return Boolean(canvas.getContext("webgl2") || canvas.getContext("webgl"));
  };

  /* Hands out the view of vtk.js that vtk-view makes. */
  tubewright.components["view-rig"] = {
    emits: ["rigged"],
    setup(_, { emit }) {
      emit("rigged", inject("view"));
      return () => null;
    },
  };

  /* One surface; its arrays change from step to step, its parts in vtk.js stay. */
  tubewright.components["shape-solid"] = {
    props: { solid: Object, step: Number, look: Object },
    setup(props) {
      const frame = computed(() => props.solid.frame(props.step));
      const polys = computed(() => (props.look.cut ? frame.value.cut : frame.value.whole));
      const actor = computed(() => ({
        visibility:
          Boolean(polys.value?.length) && (props.solid.role !== "start" || props.look.start),
      }));
      const coloured = computed(() => Boolean(frame.value.colours));
      const mapper = computed(() => ({
        colorByArrayName: "colours",
        scalarMode: BY_POINT,
        scalarVisibility: coloured.value,
        interpolateScalarsBeforeMapping: false,
      }));
      const { colour, opacity, quantity } = props.solid;
      const flat = quantity === "tension" ? 0.55 : 0.35;
      const property = { color: colour, opacity, ambient: flat, diffuse: 1 - flat };
      return { frame, polys, actor, coloured, mapper, property };
    },
    template: `
      <vtk-geometry-representation :actor="actor" :mapper="mapper" :property="property">
        <vtk-polydata :points="frame.points" :polys="polys">
          <vtk-point-data>
            <vtk-data-array name="Normals" registration="setNormals" :values="frame.normals"
              :number-of-components="3" />
            <vtk-data-array v-if="coloured" name="colours" registration="setScalars"
              type="Uint8Array" :values="frame.colours" :number-of-components="3" />
          </vtk-point-data>
        </vtk-polydata>
      </vtk-geometry-representation>`,
  };

  /* Replace what vtk-view does of its own accord: draw with the screen's own beat, at a size that
     stays affordable, never turn by itself, and leave the mouse to us. */
  function tame(view, drawn) {
    let asked = 0;
    const draw = () => {
      asked = 0;
      view.renderer.resetCameraClippingRange();
      view.renderWindow.render();
      drawn();
    };
    view.render = () => {
      asked ||= requestAnimationFrame(draw);
    };
    view.render.cancel = () => cancelAnimationFrame(asked);
    view.resize = () => {
      const { width, height } = view.container.getBoundingClientRect();
      if (!width || !height) return;
      const dense = Math.sqrt(MOST_PIXELS / (width * height));
      const ratio = Math.min(globalThis.devicePixelRatio || 1, Math.max(1, dense));
      view.openglRenderWindow.setSize(Math.round(width * ratio), Math.round(height * ratio));
      view.vueCtx.emit("resize");
      view.render();
    };
    view.resetCamera = () => {};
    view.debouncedCubeBounds = Object.assign(() => {}, { cancel() {} });
    view.renderer.removeActor(view.cubeAxes);
    view.activeCamera.setParallelProjection(true);
  }

  /* Turning by hand: what a drag, the wheel and the keys do to a look. */
  function hands(look, height) {
    let last = null;
    const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
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
        const way = steps[event.key];
        const other = others[event.key];
        if (!way && !other) return;
        event.preventDefault();
        if (other) other();
        else if (event.shiftKey) look.move(0.1 * way[0], 0.1 * way[1]);
        else look.turn(-BY_KEY * way[0], -BY_KEY * way[1]);
      },
    };
  }

  tubewright.components["shape-view"] = {
    props: { exhibit: Object, tag: Number, step: Number, look: Object, named: Boolean },
    emits: ["drawn"],
    setup(props, { emit }) {
      const size = ref([1, 1]);
      const lost = ref(!tubewright.hasWebGL());
      let view = null;
      const rigged = (made) => {
        view = made;
        tame(view, () => emit("drawn"));
      };
      const aim = () => {
        if (!view) return;
        view.activeCamera.set(props.look.camera(size.value[0] / size.value[1]));
        view.render();
      };
      const measure = () => {
        const box = view.container.getBoundingClientRect();
        if (box.width && box.height) size.value = [box.width, box.height];
      };
      onMounted(() => {
        if (!view) return emit("drawn");
        clearTimeout(view.resetCameraTimeout);
        view.interactor.unbindEvents();
        view.openglRenderWindow.getCanvas().addEventListener("webglcontextlost", () => {
          lost.value = true;
        });
        measure();
        watch(() => props.look.camera(size.value[0] / size.value[1]), aim, { immediate: true });
      });
      onBeforeUnmount(() => {
        view = null;
      });
      const shownStep = computed(() => Math.min(props.step, props.exhibit.steps.length - 1));
      const bar = computed(() => {
        const half = props.look.half(size.value[0] / size.value[1]) / props.look.zoom;
        const unit = (2 * half) / size.value[1]; // mm for each px
        const length = tubewright.roundBelow(LONGEST_BAR * unit);
        return { length: Number(length.toPrecision(1)), width: `${length / unit}px` };
      });
      return {
        bar,
        hand: hands(props.look, () => size.value[1]),
        label: computed(() => props.exhibit.steps[shownStep.value].label),
        lost,
        measure,
        rigged,
        shownStep,
      };
    },
    template: `
      <figure class="tw-shape">
        <figcaption><b class="tw-tag">{{ tag }}</b> <span v-if="named">{{ exhibit.name }}, </span
          >{{ exhibit.title }}<span class="tw-state">{{ label }}</span></figcaption>
        <p v-if="lost" class="tw-lost">This browser shows no 3D pictures (WebGL is missing or was
          stopped). All numbers and curves are here none the less.</p>
        <div v-else class="tw-stage" tabindex="0" role="application"
          :aria-label="'Shape ' + tag + ', ' + exhibit.title + ', ' + label
            + '. Arrow keys turn it, plus and minus zoom, Shift with arrows moves, Home resets.'"
          @pointerdown="hand.down" @pointermove="hand.drag" @pointerup="hand.up"
          @pointercancel="hand.up" @wheel="hand.wheel" @keydown="hand.key">
          <vtk-view :background="[1, 1, 1]" :interactor-events="[]" :interactor-settings="[]"
            @resize="measure">
            <view-rig @rigged="rigged" />
            <shape-solid v-for="solid in exhibit.solids" :key="solid.role" :solid="solid"
              :step="shownStep" :look="look" />
          </vtk-view>
          <div class="tw-scale" :style="{ width: bar.width }">{{ bar.length }} mm</div>
        </div>
        <p v-if="exhibit.note" class="tw-note">{{ exhibit.note }}</p>
      </figure>`,
  };
})((globalThis.tubewright ??= { components: {} }));
