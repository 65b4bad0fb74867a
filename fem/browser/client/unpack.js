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

/* Arrays of the blob; equal references give the same array. */
function arrays(buffer, start) {
  const known = new Map();
  return (ref) => {
    if (!ref) return null;
    const key = `${ref.at} ${ref.count} ${ref.type}`;
    if (!known.has(key)) {
      known.set(key, new KINDS[ref.type](buffer, start + ref.at, ref.count));
    }
    return known.get(key);
  };
}

function scaleOf(scale, array) {
  const colours = array(scale.colours);
  const palette = Uint8Array.from(colours);
  if (scale.none) palette.set(scale.none, 3 * NO_TENSION);
  return { ...scale, colours, palette };
}

function frameOf(frame, array) {
  const names = ["points", "normals", "values", "triangles", "cut"];
  return Object.fromEntries(names.map((name) => [name, array(frame[name])]));
}

/* Pack of bytes (an ArrayBuffer) to {title, keys, models, scales, columns, drive, curves, exhibits}. */
export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const array = arrays(buffer, 4 + length);
  const scales = {};
  for (const [name, scale] of Object.entries(head.scales)) scales[name] = scaleOf(scale, array);
  const { title, columns, drive, curves, keys, models, light, behind } = head;
  const exhibits = head.exhibits.map((exhibit) => ({
    ...exhibit,
    light,
    behind,
    solids: exhibit.solids.map((solid) => ({
      ...solid,
      grain: exhibit.grain,
      scale: scales[solid.quantity],
      frames: solid.frames.map((frame) => frameOf(frame, array)),
    })),
  }));
  return { title, columns, drive, curves, keys, models, scales, exhibits };
}

const OUTLINED = ["wall", "marks"]; // roles of what is laid over another shape

/* What is painted of an exhibit at a step: parts {solid, frame, corners}. */
export function parts(exhibit, step, { cut, start }) {
  const hidden = new Set([cut ? "" : "bore", start ? "" : "start"]);
  return partsOf(exhibit, step, cut, (role) => !hidden.has(role));
}

/* What is painted of an exhibit that is laid over another, at its last step. */
export const outline = (exhibit) =>
  exhibit ? partsOf(exhibit, exhibit.steps.length, false, (role) => OUTLINED.includes(role)) : [];

function partsOf({ solids }, step, cut, seen) {
  return solids
    .filter(({ role }) => seen(role))
    .map((solid) => {
      const frame = solid.frames[Math.min(step, solid.frames.length - 1)];
      return { solid, frame, corners: (cut && frame.cut) || frame.triangles };
    })
    .filter(({ corners }) => corners?.length);
}
