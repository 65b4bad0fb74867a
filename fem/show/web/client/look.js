/* How shapes are looked at: one camera for all that stand side by side, cut open, start shape. */
(function (tubewright) {
  "use strict";

  const DEGREE = Math.PI / 180;
  const FAR = 1000; // mm; of no account in parallel projection
  const MARGIN = 1.1;

  const PRESETS = {
    front: { title: "Front", azimuth: -90, elevation: 18 },
    above: { title: "Above", azimuth: -90, elevation: 50 },
    end: { title: "From the free end", azimuth: -90, elevation: 90 },
  };

  class Look {
    constructor() {
      this.cut = false;
      this.start = true;
      this.extent = { length: 1, radius: 1 };
      this.preset("front");
    }

    preset(name) {
      const { azimuth, elevation } = PRESETS[name];
      const { length, radius } = this.extent;
      const zoom = name === "end" ? Math.max(1, (0.35 * length) / radius) : 1;
      Object.assign(this, { azimuth, elevation, zoom, right: 0, up: 0 });
    }

    turn(azimuth, elevation) {
      this.azimuth = (this.azimuth + azimuth) % 360;
      this.elevation = Math.min(90, Math.max(-90, this.elevation + elevation));
    }

    nearer(times) {
      this.zoom = Math.min(20, Math.max(0.3, this.zoom * times));
    }

    /* Move the picture by shares of its half height. */
    move(right, up) {
      this.right -= right / this.zoom;
      this.up -= up / this.zoom;
    }

    /* Make room for exhibits; the scale never jumps back while something is turned or set. */
    include(exhibits) {
      for (const { length, radius } of exhibits) {
        this.extent.length = Math.max(this.extent.length, length);
        this.extent.radius = Math.max(this.extent.radius, radius);
      }
    }

    /* Half the height of the picture at zoom 1 (mm): all fits, whichever way it is turned. */
    half(aspect) {
      const { length, radius } = this.extent;
      return MARGIN * Math.max(Math.hypot(length / 2, radius), radius / aspect);
    }

    /* The camera of vtk.js for a picture of width / height = `aspect`. */
    camera(aspect) {
      const [a, e] = [this.azimuth * DEGREE, this.elevation * DEGREE];
      const towards = [Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e)];
      const viewUp = [-Math.sin(e) * Math.cos(a), -Math.sin(e) * Math.sin(a), Math.cos(e)];
      const right = [-Math.sin(a), Math.cos(a), 0];
      const half = this.half(aspect);
      const centre = [0, 0, this.extent.length / 2];
      const focalPoint = centre.map(
        (c, k) => c + half * (this.right * right[k] + this.up * viewUp[k]),
      );
      const position = focalPoint.map((f, k) => f + FAR * towards[k]);
      return { focalPoint, position, viewUp, parallelScale: half / this.zoom };
    }
  }

  tubewright.newLook = () => Vue.reactive(new Look());

  tubewright.components["look-bar"] = {
    props: { look: Object },
    setup: () => ({ presets: PRESETS }),
    template: `
      <div class="tw-bar" role="group" aria-label="How the shapes are shown">
        <label class="tw-check"><input type="checkbox" v-model="look.cut"> Cut open</label>
        <label class="tw-check"><input type="checkbox" v-model="look.start"> Start shape</label>
        <span class="tw-buttons" role="group" aria-label="View">
          <button v-for="(preset, name) in presets" type="button" @click="look.preset(name)">{{
            preset.title }}</button>
          <button type="button" aria-label="Zoom in" @click="look.nearer(1.25)">+</button>
          <button type="button" aria-label="Zoom out" @click="look.nearer(0.8)">\u2212</button>
        </span>
      </div>`,
  };
})((globalThis.tubewright ??= { components: {} }));
