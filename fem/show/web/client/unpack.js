/* The pack that fem/show/web/pack.py defines, as the arrays that vtk.js takes. */
(function (tubewright) {
  "use strict";

  const KINDS = {
    i1: Int8Array,
    u1: Uint8Array,
    i2: Int16Array,
    u2: Uint16Array,
    u4: Uint32Array,
    f4: Float32Array,
  };
  const NO_TENSION = 255; // the value of a thread without tension

  const number = (from, unit) => Float32Array.from(from, (value) => value * unit);

  /* Triangles as vtk.js wants them: the count of corners before each. */
  function cells(corners) {
    const count = corners.length / 3;
    const made = new Uint32Array(4 * count);
    for (let k = 0; k < count; k += 1) {
      made[4 * k] = 3;
      made[4 * k + 1] = corners[3 * k];
      made[4 * k + 2] = corners[3 * k + 1];
      made[4 * k + 3] = corners[3 * k + 2];
    }
    return made;
  }

  function colours(values, scale) {
    const made = new Uint8Array(3 * values.length);
    for (let k = 0; k < values.length; k += 1) {
      const none = scale.none && values[k] === NO_TENSION;
      const from = none ? scale.none : scale.colours;
      const at = none ? 0 : 3 * values[k];
      made[3 * k] = from[at];
      made[3 * k + 1] = from[at + 1];
      made[3 * k + 2] = from[at + 2];
    }
    return made;
  }

  /* Reads arrays from the store. What is made of one is kept, so that two frames that share an
     array share what is made of it, and Vue passes on only what differs. */
  class Store {
    constructor(buffer, start) {
      this.buffer = buffer;
      this.start = start;
      this.made = new Map();
    }

    array(ref) {
      return new KINDS[ref.type](this.buffer, this.start + ref.at, ref.count);
    }

    once(use, ref, make) {
      if (!ref) return null;
      const key = `${use} ${ref.at} ${ref.count} ${ref.type}`;
      if (!this.made.has(key)) this.made.set(key, make(this.array(ref)));
      return this.made.get(key);
    }
  }

  class Solid {
    constructor(solid, grain, store, scales) {
      Object.assign(this, solid, { grain, store, scale: scales[solid.quantity] });
    }

    /* The solid at a step: points (mm), normals, colours or null, and cells, whole and cut open. */
    frame(step) {
      const frame = this.frames[Math.min(step, this.frames.length - 1)];
      const { store, scale } = this;
      const triangles = store.once("cells", frame.triangles, cells);
      return {
        points: store.once(`points ${this.grain}`, frame.points, (p) => number(p, this.grain)),
        normals: store.once("normals", frame.normals, (n) => number(n, 1 / 127)),
        colours: scale
          ? store.once(this.quantity, frame.values, (v) => colours(v, scale))
          : null,
        whole: triangles,
        cut: store.once("cells", frame.cut, cells) || (this.role === "cut" ? null : triangles),
      };
    }
  }

  /* Pack of bytes (an ArrayBuffer) to {title, scales, columns, exhibits}; frames are made when
     they are first shown. */
  tubewright.unpack = function (buffer) {
    const length = new DataView(buffer).getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
    const store = new Store(buffer, 4 + length);
    const scales = {};
    for (const [name, scale] of Object.entries(head.scales)) {
      scales[name] = { ...scale, colours: store.array(scale.colours) };
    }
    const exhibits = head.exhibits.map((exhibit) => ({
      ...exhibit,
      solids: exhibit.solids.map((solid) => new Solid(solid, exhibit.grain, store, scales)),
    }));
    return Vue.markRaw({ title: head.title, columns: head.columns, scales, exhibits });
  };
})((globalThis.tubewright ??= { components: {} }));
