/* One view: canvas, scale bar and caption. */
import { h, redraw, UNCHANGED } from "./dom.js";
import { roundBelow } from "./numbers.js";
import { Painter } from "./paint.js";
import { stateOf } from "./readouts.js";
import { outline, parts } from "./unpack.js";

const MAX_PIXELS = 1.4e6; // of one picture
const IDLE_TIME = 120; // ms without a change, after which edges are smoothed
const MAX_IN_ROW = 3; // pictures in a row
const MAX_BAR = 90; // px, length of the scale bar
const DRAG_ANGLE = 0.5; // degrees per px dragged
const KEY_ANGLE = 10; // degrees per press of a key

/* The actions of mouse and keyboard on a display. */
function controlsOf(display, height) {
  let last = null;
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const others = {
    "+": () => display.zoomBy(1.25),
    "=": () => display.zoomBy(1.25),
    "-": () => display.zoomBy(0.8), Home: () => display.preset("front"),
  };
  const release = () => {
    last = null;
  };
  return {
    onpointerdown(event) {
      last = [event.clientX, event.clientY];
      event.currentTarget.setPointerCapture(event.pointerId);
    },
    onpointermove(event) {
      if (!last) return UNCHANGED;
      const [x, y] = [event.clientX - last[0], event.clientY - last[1]];
      last = [event.clientX, event.clientY];
      if (event.shiftKey) display.move((2 * x) / height(), (-2 * y) / height());
      else display.rotate(-DRAG_ANGLE * x, DRAG_ANGLE * y);
    },
    onpointerup: release, onpointercancel: release,
    onwheel(event) {
      if (!event.ctrlKey) return UNCHANGED; // the wheel alone scrolls the page
      event.preventDefault();
      display.zoomBy(Math.exp(-0.002 * event.deltaY));
    },
    onkeydown(event) {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const arrow = arrows[event.key];
      const other = others[event.key];
      if (!arrow && !other) return;
      event.preventDefault();
      if (other) other();
      else if (event.shiftKey) display.move(0.1 * arrow[0], 0.1 * arrow[1]);
      else display.rotate(-KEY_ANGLE * arrow[0], KEY_ANGLE * arrow[1]);
    },
  };
}

/* A canvas that paints the scene of the last call of `show`, once per frame of the screen if the
   scene has changed: without smooth edges while it changes, with them when it is idle. */
class Picture {
  constructor({ drawn, lost }) {
    Object.assign(this, { drawn, lost, painter: null, size: null, frame: 0, idle: 0 });
    this.watcher = new ResizeObserver(([{ contentRect }]) => this.measure(contentRect));
  }

  open(canvas) {
    this.canvas = canvas;
    canvas.addEventListener("webglcontextlost", () => this.lost());
    try {
      this.painter = new Painter(canvas);
      this.watcher.observe(canvas);
    } catch {
      this.lost();
      this.drawn();
    }
  }

  close() {
    this.watcher.disconnect();
    cancelAnimationFrame(this.frame);
    clearTimeout(this.idle);
    this.painter?.close();
    this.painter = null;
  }

  /* Take the size of the canvas, {width, height} in CSS px. */
  measure({ width, height }) {
    if (!width || !height) return;
    const most = Math.max(1, Math.sqrt(MAX_PIXELS / (width * height)));
    const ratio = Math.min(globalThis.devicePixelRatio || 1, most);
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
    this.size = [width, height];
    redraw();
  }

  show({ view, over, step, display }) {
    const now = [view, over, JSON.stringify([step, display, this.size])];
    const changed = now.map((one, k) => one !== this.last?.[k]);
    this.last = now;
    this.scene = { view, over, step, display };
    if (changed[0] || changed[1]) this.painter?.invalidate();
    if (changed.includes(true) && this.size) {
      this.frame ||= requestAnimationFrame(() => {
        this.frame = 0;
        this.paint(false);
        clearTimeout(this.idle);
        this.idle = setTimeout(() => this.paint(true), IDLE_TIME);
      });
    }
  }

  paint(smooth) {
    if (!this.painter) return;
    const { view, over, step, display } = this.scene;
    const scene = {
      parts: parts(view, step, display), outline: outline(over),
      camera: display.camera(this.size[0] / this.size[1]), light: view.light,
      behind: view.behind,
    };
    this.painter.paint(scene, smooth);
    this.drawn();
  }
}

/* The scale bar: a round length at the scale of the picture. */
function scaleBar(display, [width, height], over) {
  const unit = (2 * display.camera(width / height).half) / height; // mm for each px
  const length = roundBelow(MAX_BAR * unit);
  return h("div.tw-scale",
    h("i", { style: `width: ${length / unit}px` }),
    `${Number(length.toPrecision(1))} mm`,
    over && h("span", `outline: ${over.title}`));
}

/* A component: the picture of a view. */
export function shapeView({ display, drawn }) {
  let lost = false;
  const picture = new Picture({
    drawn,
    lost() {
      lost = true;
      redraw();
    },
  });
  const size = () => picture.size ?? [1, 1];
  const controls = controlsOf(display, () => size()[1]);
  return ({ view, over, tag, step, named }) => {
    const { name, title, solids, steps, note } = view;
    const label = stateOf(view, step);
    picture.show({ view, over, display, step: Math.min(step, steps.length - 1) });
    const stage = {
      tabindex: 0, role: "application",
      "aria-label":
        `Shape ${tag}, ${title}, ${label}. Arrow keys rotate, plus and minus zoom, ` +
        "Shift with arrow keys moves, Home resets.",
      ...controls,
    };
    const canvas = { added: (element) => picture.open(element), removed: () => picture.close() };
    return h("figure.tw-shape",
      h("figcaption",
        h("b.tw-tag", tag), named && h("span", `${name}, `), title, " ",
        h("span.tw-state", label)),
      lost
        ? h("p.tw-lost",
          "No 3D view: WebGL 2 is not available or was stopped. ",
          "All values and curves are shown.")
        : h("div.tw-stage", stage, h("canvas", canvas), scaleBar(display, size(), over)),
      !solids.some(({ role }) => role === "wall") &&
        h("p.tw-note", "Only the plates are drawn: the shape of the wall is unknown."),
      note && h("p.tw-note", note));
  };
}

/* Shapes side by side. */
export function shapeRow({ views, over, ...more }) {
  if (!views.length) {
    more.drawn();
    return null;
  }
  const columns = Math.ceil(views.length / Math.ceil(views.length / MAX_IN_ROW));
  return h("div.tw-views", { style: `--columns: ${columns}` },
    views.map((view, k) =>
      h(shapeView, {
        ...more, view,
        tag: k + 1, over: view === over ? null : over,
      })));
}
