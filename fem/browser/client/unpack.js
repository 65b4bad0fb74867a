/* Reads the pack that fem/browser/pack.py defines; arrays keep their types. */

const KINDS = {
  i1: Int8Array,
  u1: Uint8Array,
  i2: Int16Array,
  u2: Uint16Array,
  u4: Uint32Array,
  f4: Float32Array,
};
const NO_TENSION = 255; // the value of a thread without tension

/* Returns the function that replaces references by arrays; equal references give one array. */
function arrays(buffer, start) {
  const known = {};
  return (_, ref) => {
    const Kind = KINDS[ref?.type];
    if (!Kind) return ref;
    const { at, count, type } = ref;
    return (known[`${at} ${count} ${type}`] ??= new Kind(buffer, start + at, count));
  };
}

/* The 256 colours of a scale; the last one is for threads without tension. */
function paletteOf({ colours, none }) {
  const palette = Uint8Array.from(colours);
  if (none) palette.set(none, 3 * NO_TENSION);
  return palette;
}

/* Convert a pack (an ArrayBuffer) to its head, with arrays in place of references. */
export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const text = new TextDecoder().decode(new Uint8Array(buffer, 4, length));
  const { views, light, behind, ...head } = JSON.parse(text, arrays(buffer, 4 + length));
  for (const scale of Object.values(head.scales)) scale.palette = paletteOf(scale);
  for (const view of views) {
    Object.assign(view, { light, behind });
    for (const solid of view.solids) {
      Object.assign(solid, { mmPerUnit: view.mmPerUnit, scale: head.scales[solid.quantity] });
    }
  }
  return { ...head, views };
}

const OUTLINED = ["wall", "marks"]; // roles of the overlay

function partsOf({ solids }, step, cut, isVisible) {
  return solids
    .filter(({ role }) => isVisible(role))
    .map((solid) => {
      const frame = solid.frames[Math.min(step, solid.frames.length - 1)];
      return { solid, frame, corners: (cut && frame.cut) || frame.triangles };
    })
    .filter(({ corners }) => corners?.length);
}

/* The parts of a view at a step: {solid, frame, corners}. */
export const parts = (view, step, { cut, start }) =>
  partsOf(view, step, cut, (role) => (cut || role !== "bore") && (start || role !== "start"));

/* The parts of a view that is overlaid on another, at its last step. */
export const outline = (view) =>
  view ? partsOf(view, Infinity, false, (role) => OUTLINED.includes(role)) : [];
