/* The pack that fem/browser/pack.py defines; its arrays are handed on as they are. */

const KINDS = {
  i1: Int8Array,
  u1: Uint8Array,
  i2: Int16Array,
  u2: Uint16Array,
  u4: Uint32Array,
  f4: Float32Array,
};
const NO_TENSION = 255; // the value of a thread without tension

/* What turns the references of a head into arrays; equal references give the same array. */
function arrays(buffer, start) {
  const known = {};
  return (_, ref) => {
    const Kind = KINDS[ref?.type];
    if (!Kind) return ref;
    const { at, count, type } = ref;
    return (known[`${at} ${count} ${type}`] ??= new Kind(buffer, start + at, count));
  };
}

/* The 256 colours of a scale; the last one is of threads without tension. */
function paletteOf({ colours, none }) {
  const palette = Uint8Array.from(colours);
  if (none) palette.set(none, 3 * NO_TENSION);
  return palette;
}

/* Pack of bytes (an ArrayBuffer) to its head, with arrays where the head refers to them. */
export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const text = new TextDecoder().decode(new Uint8Array(buffer, 4, length));
  const { exhibits, light, behind, ...head } = JSON.parse(text, arrays(buffer, 4 + length));
  for (const scale of Object.values(head.scales)) scale.palette = paletteOf(scale);
  for (const exhibit of exhibits) {
    Object.assign(exhibit, { light, behind });
    for (const solid of exhibit.solids) {
      Object.assign(solid, { grain: exhibit.grain, scale: head.scales[solid.quantity] });
    }
  }
  return { ...head, exhibits };
}

const OUTLINED = ["wall", "marks"]; // roles of what is laid over another shape

function partsOf({ solids }, step, cut, seen) {
  return solids
    .filter(({ role }) => seen(role))
    .map((solid) => {
      const frame = solid.frames[Math.min(step, solid.frames.length - 1)];
      return { solid, frame, corners: (cut && frame.cut) || frame.triangles };
    })
    .filter(({ corners }) => corners?.length);
}

/* What is painted of an exhibit at a step: parts {solid, frame, corners}. */
export const parts = (exhibit, step, { cut, start }) =>
  partsOf(exhibit, step, cut, (role) => (cut || role !== "bore") && (start || role !== "start"));

/* What is painted of an exhibit that is laid over another, at its last step. */
export const outline = (exhibit) =>
  exhibit ? partsOf(exhibit, Infinity, false, (role) => OUTLINED.includes(role)) : [];
