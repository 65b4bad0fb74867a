/* One exhibit in a picture of its own: canvas, scale bar and caption. */
import { h, redraw, UNCHANGED } from "./dom.js";
import { roundBelow } from "./numbers.js";
import { Painter } from "./paint.js";
import { stateOf } from "./readouts.js";
import { outline, parts } from "./unpack.js";

const MOST_PIXELS = 1.4e6; // of one picture
const REST = 120; // ms without a change, after which edges are smoothed
const MOST_BESIDE = 3; // pictures in a row
const LONGEST_BAR = 90; // px
const TURN = 0.5; // degrees for each px dragged
const BY_KEY = 10; // degrees for each press of a key

/* Turning by hand: what a drag, the wheel and the keys do to a look. */
function handOn(look, height) {
  let last = null;
  const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const others = {
    "+": () => look.nearer(1.25),
    "=": () => look.nearer(1.25),
    "-": () => look.nearer(0.8), Home: () => look.preset("front"),
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
      if (event.shiftKey) look.move((2 * x) / height(), (-2 * y) / height());
      else look.turn(-TURN * x, TURN * y);
    },
    onpointerup: release, onpointercancel: release,
    onwheel(event) {
      if (!event.ctrlKey) return UNCHANGED; // the wheel alone scrolls the page
      event.preventDefault();
      look.nearer(Math.exp(-0.002 * event.deltaY));
    },
    onkeydown(event) {
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

/* A canvas that paints the scene that was last handed to `show`, once to each beat of the screen
   in which it has changed: plainly while it changes, with smooth edges when it rests. */
class Picture {
  constructor({ drawn, lost }) {
    Object.assign(this, { drawn, lost, painter: null, size: null, beat: 0, resting: 0 });
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
    cancelAnimationFrame(this.beat);
    clearTimeout(this.resting);
    this.painter?.close();
    this.painter = null;
  }

  /* Take the size of the canvas, {width, height} in CSS px. */
  measure({ width, height }) {
    if (!width || !height) return;
    const most = Math.max(1, Math.sqrt(MOST_PIXELS / (width * height)));
    const ratio = Math.min(globalThis.devicePixelRatio || 1, most);
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
    this.size = [width, height];
    redraw();
  }

  show({ exhibit, over, step, look }) {
    const now = [exhibit, over, JSON.stringify([step, look, this.size])];
    const changed = now.map((one, k) => one !== this.last?.[k]);
    this.last = now;
    this.scene = { exhibit, over, step, look };
    if (changed[0] || changed[1]) this.painter?.forget();
    if (changed.includes(true) && this.size) {
      this.beat ||= requestAnimationFrame(() => {
        this.beat = 0;
        this.paint(false);
        clearTimeout(this.resting);
        this.resting = setTimeout(() => this.paint(true), REST);
      });
    }
  }

  paint(smooth) {
    if (!this.painter) return;
    const { exhibit, over, step, look } = this.scene;
    const scene = {
      parts: parts(exhibit, step, look), outline: outline(over),
      camera: look.camera(this.size[0] / this.size[1]), light: exhibit.light,
      behind: exhibit.behind,
    };
    this.painter.paint(scene, smooth);
    this.drawn();
  }
}

/* The scale bar: a round length, as wide as it is in the picture. */
function scaleBar(look, [width, height], over) {
  const unit = (2 * look.camera(width / height).half) / height; // mm for each px
  const length = roundBelow(LONGEST_BAR * unit);
  return h("div.tw-scale",
    h("i", { style: `width: ${length / unit}px` }),
    `${Number(length.toPrecision(1))} mm`,
    over && h("span", `outline: ${over.title}`));
}

/* A component: an exhibit in a picture of its own. */
export function shapeView({ look, drawn }) {
  let lost = false;
  const picture = new Picture({
    drawn,
    lost() {
      lost = true;
      redraw();
    },
  });
  const size = () => picture.size ?? [1, 1];
  const hand = handOn(look, () => size()[1]);
  return ({ exhibit, over, tag, step, named }) => {
    const { name, title, solids, steps, note } = exhibit;
    const label = stateOf(exhibit, step);
    picture.show({ exhibit, over, look, step: Math.min(step, steps.length - 1) });
    const stage = {
      tabindex: 0, role: "application",
      "aria-label":
        `Shape ${tag}, ${title}, ${label}. Arrow keys turn it, plus and minus zoom, ` +
        "Shift with arrows moves, Home resets.",
      ...hand,
    };
    const canvas = { made: (made) => picture.open(made), gone: () => picture.close() };
    return h("figure.tw-shape",
      h("figcaption",
        h("b.tw-tag", tag), named && h("span", `${name}, `), title, " ",
        h("span.tw-state", label)),
      lost
        ? h("p.tw-lost",
          "This browser shows no 3D pictures: WebGL 2 is missing or was stopped. ",
          "All numbers and curves are still here.")
        : h("div.tw-stage", stage, h("canvas", canvas), scaleBar(look, size(), over)),
      !solids.some(({ role }) => role === "wall") &&
        h("p.tw-note", "Only plates are drawn: the shape of the wall is not known."),
      note && h("p.tw-note", note));
  };
}

/* Shapes side by side. */
export function shapeRow({ exhibits, over, ...more }) {
  if (!exhibits.length) {
    more.drawn();
    return null;
  }
  const columns = Math.ceil(exhibits.length / Math.ceil(exhibits.length / MOST_BESIDE));
  return h("div.tw-views", { style: `--columns: ${columns}` },
    exhibits.map((exhibit, k) =>
      h(shapeView, {
        ...more, exhibit,
        tag: k + 1, over: exhibit === over ? null : over,
      })));
}
