/* The display of shapes: one camera for all views, cut open or not, shape at rest shown or not. */
import { button, check } from "./controls.js";
import { h } from "./dom.js";
import { capital } from "./numbers.js";

const DEGREE = Math.PI / 180;
const DEPTH = 2; // depth of the visible region to the front and back, times the extent
const MARGIN = 1.1;

const PRESETS = {
  front: { title: "Front", azimuth: -90, elevation: 18 },
  above: { title: "Above", azimuth: -90, elevation: 50 },
  end: { title: "From the free end", azimuth: -90, elevation: 90 },
};

/* Directions of the picture in space, and the map from space to the picture. */
class Camera {
  constructor({ azimuth, elevation, extent, right, up, zoom }, half, aspect) {
    const [a, e] = [azimuth * DEGREE, elevation * DEGREE];
    this.axes = [
      [-Math.sin(a), Math.cos(a), 0], // to the right
      [-Math.sin(e) * Math.cos(a), -Math.sin(e) * Math.sin(a), Math.cos(e)], // up
      [Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e)], // towards the viewer
    ];
    this.half = half; // half the height of the picture (mm)
    const depth = DEPTH * (extent.length + extent.radius);
    this.scales = [1 / (half * aspect), 1 / half, -1 / depth];
    const centre = this.axes.map((axis) => (axis[2] * extent.length) / 2);
    this.shifts = [centre[0] + half * zoom * right, centre[1] + half * zoom * up, centre[2]];
  }

  /* Converts a direction of the picture to one in space. */
  fromPicture([right, up, towards]) {
    const [x, y, z] = this.axes;
    return x.map((_, k) => right * x[k] + up * y[k] + towards * z[k]);
  }

  /* The matrix from points (in units of `mmPerUnit` mm) to the picture (-1 to 1), by columns. */
  matrix(mmPerUnit) {
    const column = (k) => [...this.axes.map((axis, i) => axis[k] * mmPerUnit * this.scales[i]), 0];
    const shift = this.shifts.map((mm, i) => -mm * this.scales[i]);
    return [...column(0), ...column(1), ...column(2), ...shift, 1];
  }
}

export class Display {
  constructor() {
    this.cut = false;
    this.start = true;
    this.shown = { length: 1, radius: 1 };
    this.preset("front");
  }

  /* View from a side, at the greatest scale at which all shapes fit. */
  preset(name) {
    const { azimuth, elevation } = PRESETS[name];
    this.extent = { ...this.shown };
    const { length, radius } = this.extent;
    const zoom = name === "end" ? Math.max(1, (0.35 * length) / radius) : 1;
    Object.assign(this, { azimuth, elevation, zoom, right: 0, up: 0 });
  }

  rotate(azimuth, elevation) {
    this.azimuth = (this.azimuth + azimuth) % 360;
    this.elevation = Math.min(90, Math.max(-90, this.elevation + elevation));
  }

  zoomBy(times) {
    this.zoom = Math.min(20, Math.max(0.3, this.zoom * times));
  }

  /* Move the picture by fractions of its half height. */
  move(right, up) {
    this.right -= right / this.zoom;
    this.up -= up / this.zoom;
  }

  /* Extend the visible region to the views shown; it never shrinks before the next preset, so that
     the scale does not jump. */
  include(views) {
    if (!views.length) return;
    const greatest = (name) => Math.max(...views.map((view) => view[name]));
    this.shown = { length: greatest("length"), radius: greatest("radius") };
    this.extent.length = Math.max(this.extent.length, this.shown.length);
    this.extent.radius = Math.max(this.extent.radius, this.shown.radius);
  }

  /* The camera of a picture of width / height = `aspect`: parallel projection; at zoom 1 all shapes
     fit at any rotation. */
  camera(aspect) {
    const { length, radius } = this.extent;
    const half = MARGIN * Math.max(Math.hypot(length / 2, radius), radius / aspect);
    return new Camera(this, half / this.zoom, aspect);
  }
}

/* The controls of a display, and `more` controls. */
export const displayBar = (display, keys, more) =>
  h("div.tw-bar", { role: "group", "aria-label": "Display of the shapes" },
    check("Cut open", display.cut, (cut) => (display.cut = cut)),
    check(capital(keys.start.title), display.start, (start) => (display.start = start)),
    more,
    h("span.tw-buttons", { role: "group", "aria-label": "View" },
      Object.entries(PRESETS).map(([name, { title }]) =>
        button(title, () => display.preset(name))),
      button("+", () => display.zoomBy(1.25), { "aria-label": "Zoom in" }),
      button("\u2212", () => display.zoomBy(0.8), { "aria-label": "Zoom out" })));
