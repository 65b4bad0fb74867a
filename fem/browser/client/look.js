/* How shapes are looked at: one camera for all that stand side by side, cut open, shape at rest. */
import { button, check } from "./controls.js";
import { h } from "./dom.js";
import { capital } from "./numbers.js";

const DEGREE = Math.PI / 180;
const DEEP = 2; // how far the picture reaches to the front and back, times the extent
const MARGIN = 1.1;

const PRESETS = {
  front: { title: "Front", azimuth: -90, elevation: 18 },
  above: { title: "Above", azimuth: -90, elevation: 50 },
  end: { title: "From the free end", azimuth: -90, elevation: 90 },
};

/* Directions of the picture in space, and what brings a point into it. */
class Camera {
  constructor({ azimuth, elevation, extent, right, up, zoom }, half, aspect) {
    const [a, e] = [azimuth * DEGREE, elevation * DEGREE];
    this.axes = [
      [-Math.sin(a), Math.cos(a), 0], // to the right
      [-Math.sin(e) * Math.cos(a), -Math.sin(e) * Math.sin(a), Math.cos(e)], // up
      [Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e)], // towards the viewer
    ];
    this.half = half; // half the height of the picture (mm)
    const deep = DEEP * (extent.length + extent.radius);
    this.scales = [1 / (half * aspect), 1 / half, -1 / deep];
    const centre = this.axes.map((axis) => (axis[2] * extent.length) / 2);
    this.shifts = [centre[0] + half * zoom * right, centre[1] + half * zoom * up, centre[2]];
  }

  /* A direction of the picture as one of space. */
  fromPicture([right, up, towards]) {
    const [x, y, z] = this.axes;
    return x.map((_, k) => right * x[k] + up * y[k] + towards * z[k]);
  }

  /* The matrix from points in units of `grain` mm to the picture, -1 to 1, column by column. */
  matrix(grain) {
    const column = (k) => [...this.axes.map((axis, i) => axis[k] * grain * this.scales[i]), 0];
    const shift = this.shifts.map((mm, i) => -mm * this.scales[i]);
    return [...column(0), ...column(1), ...column(2), ...shift, 1];
  }
}

export class Look {
  constructor() {
    this.cut = false;
    this.start = true;
    this.shown = { length: 1, radius: 1 };
    this.preset("front");
  }

  /* Look from a side, at the greatest scale at which all that is shown fits. */
  preset(name) {
    const { azimuth, elevation } = PRESETS[name];
    this.extent = { ...this.shown };
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

  /* Make room for the exhibits that are shown; the scale never jumps back while something is
     turned or set. */
  include(exhibits) {
    if (!exhibits.length) return;
    const greatest = (name) => Math.max(...exhibits.map((exhibit) => exhibit[name]));
    this.shown = { length: greatest("length"), radius: greatest("radius") };
    this.extent.length = Math.max(this.extent.length, this.shown.length);
    this.extent.radius = Math.max(this.extent.radius, this.shown.radius);
  }

  /* The camera for a picture of width / height = `aspect`: parallel projection, and at zoom 1
     all fits, whichever way it is turned. */
  camera(aspect) {
    const { length, radius } = this.extent;
    const whole = MARGIN * Math.max(Math.hypot(length / 2, radius), radius / aspect);
    return new Camera(this, whole / this.zoom, aspect);
  }
}

/* What sets a look, and `more` of the kind. */
export const lookBar = (look, keys, more) =>
  h("div.tw-bar", { role: "group", "aria-label": "How the shapes are shown" },
    check("Cut open", look.cut, (cut) => (look.cut = cut)),
    check(capital(keys.start.title), look.start, (start) => (look.start = start)),
    more,
    h("span.tw-buttons", { role: "group", "aria-label": "View" },
      Object.entries(PRESETS).map(([name, { title }]) =>
        button(title, () => look.preset(name))),
      button("+", () => look.nearer(1.25), { "aria-label": "Zoom in" }),
      button("\u2212", () => look.nearer(0.8), { "aria-label": "Zoom out" })));
