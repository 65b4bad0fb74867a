/* Paints solids on a canvas with WebGL 2, directly from the arrays of the pack.

   Points stay int16, normals int8, values uint8: the shaders convert them to millimetres, light and
   colour. Corners are drawn by index, and each array is uploaded once. A step of the path then
   costs a few draw calls, which is fast enough without a graphics card. */

const VERTEX = `#version 300 es
  layout(location = 0) in vec3 point;
  layout(location = 1) in vec3 normal;
  layout(location = 2) in float value;
  uniform mat4 place; // from points to the picture
  uniform vec3 light; // direction to the light
  uniform float ambient;
  uniform vec3 towards; // direction to the viewer
  uniform float opacity;
  uniform bool rim; // visible only at the edge, where the surface turns away
  uniform vec3 flat_colour;
  uniform bool by_value;
  uniform sampler2D colours;
  out vec4 colour;
  void main() {
    vec3 across = normalize(normal);
    gl_Position = place * vec4(point, 1.0);
    // both sides of a surface are lit
    float bright = ambient + (1.0 - ambient) * abs(dot(across, light));
    vec3 shade = by_value ? texelFetch(colours, ivec2(int(value + 0.5), 0), 0).rgb : flat_colour;
    float away = 1.0 - abs(dot(across, towards));
    float solid = rim ? opacity * pow(away, 4.0) : opacity;
    colour = solid * vec4(bright * shade, 1.0);
  }`;
const FRAGMENT = `#version 300 es
  precision mediump float;
  in vec4 colour;
  out vec4 shown;
  void main() {
    shown = colour;
  }`;
const UNIFORMS = VERTEX.match(/(?<=uniform \w+ )\w+/g);
const OUTLINE = { wall: 0.85, marks: 0.6 }; // opacity of the overlay, by role
const BLACK = [0.1, 0.1, 0.1];
const SAMPLES = 4; // for smooth edges

function compile(gl) {
  const program = gl.createProgram();
  for (const [kind, source] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  return program;
}

export class Painter {
  /* A painter on a canvas; an Error if the browser has no WebGL 2. */
  constructor(canvas) {
    const gl = canvas.getContext("webgl2", { antialias: false });
    if (!gl) throw new Error("no WebGL 2");
    const program = compile(gl);
    gl.useProgram(program);
    gl.enable(gl.DEPTH_TEST);
    gl.clearColor(1, 1, 1, 1);
    this.gl = gl;
    this.uniforms = Object.fromEntries(
      UNIFORMS.map((name) => [name, gl.getUniformLocation(program, name)]),
    );
    this.invalidate();
  }

  /* Delete the uploaded arrays; the next paint uploads its arrays again. */
  invalidate() {
    for (const buffer of this.buffers?.values() ?? []) this.gl.deleteBuffer(buffer);
    for (const texture of this.textures?.values() ?? []) this.gl.deleteTexture(texture);
    this.buffers = new Map();
    this.textures = new Map();
  }

  /* Release the context: a browser allows few of them. */
  close() {
    this.gl.getExtension("WEBGL_lose_context")?.loseContext();
  }

  /* Paint parts {solid, frame, corners} and an outline over them, for a `camera` (display.js), with
     the direction of the light and the opacity of the shape at rest behind other parts. */
  paint({ parts, outline, camera, light, behind }, smooth) {
    const { gl } = this;
    const { width, height } = gl.canvas;
    const target = smooth ? this.smoothing(width, height) : null;
    gl.bindFramebuffer(gl.FRAMEBUFFER, target);
    gl.viewport(0, 0, width, height);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.uniform3fv(this.uniforms.light, camera.fromPicture(light));
    gl.uniform3fv(this.uniforms.towards, camera.fromPicture([0, 0, 1]));
    for (const part of parts) this.part(part, camera, 1);
    const atRest = parts.filter(({ solid }) => solid.role === "start");
    this.blend(gl.GREATER, () => atRest.forEach((part) => this.part(part, camera, behind)));
    this.blend(gl.ALWAYS, () => outline.forEach((part) => this.edge(part, camera)));
    if (!smooth) return;
    gl.bindFramebuffer(gl.READ_FRAMEBUFFER, target);
    gl.bindFramebuffer(gl.DRAW_FRAMEBUFFER, null);
    const all = [0, 0, width, height];
    gl.blitFramebuffer(...all, ...all, gl.COLOR_BUFFER_BIT, gl.NEAREST);
  }

  /* Paint transparent parts over the picture, where the depth test passes. */
  blend(compared, paint) {
    const { gl } = this;
    gl.depthFunc(compared);
    gl.depthMask(false);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    paint();
    gl.disable(gl.BLEND);
    gl.depthMask(true);
    gl.depthFunc(gl.LESS);
  }

  /* Paint the outline of a wall in black, or a mark, both transparent. */
  edge({ solid, frame, corners }, camera) {
    const { gl, uniforms } = this;
    const wall = solid.role === "wall";
    const plain = { ...solid, scale: null, colour: wall ? BLACK : solid.colour };
    gl.uniform1i(uniforms.rim, wall);
    gl.enable(gl.CULL_FACE);
    this.part({ solid: plain, frame, corners }, camera, OUTLINE[solid.role]);
    gl.disable(gl.CULL_FACE);
    gl.uniform1i(uniforms.rim, false);
  }

  part({ solid, frame, corners }, camera, opacity) {
    const { gl, uniforms } = this;
    gl.uniformMatrix4fv(uniforms.place, false, camera.matrix(solid.mmPerUnit));
    gl.uniform1f(uniforms.ambient, solid.ambient);
    gl.uniform1f(uniforms.opacity, opacity);
    this.attribute(0, frame.points, 3, gl.SHORT);
    this.attribute(1, frame.normals, 3, gl.BYTE);
    const byValue = Boolean(solid.scale && frame.values);
    gl.uniform1i(uniforms.by_value, byValue);
    if (byValue) {
      this.attribute(2, frame.values, 1, gl.UNSIGNED_BYTE);
      this.colours(solid.scale);
    } else {
      gl.disableVertexAttribArray(2);
      gl.uniform3fv(uniforms.flat_colour, solid.colour);
    }
    this.bind(gl.ELEMENT_ARRAY_BUFFER, corners);
    const wide = corners.BYTES_PER_ELEMENT === 4;
    const kind = wide ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT;
    gl.drawElements(gl.TRIANGLES, corners.length, kind, 0);
  }

  attribute(at, array, size, kind) {
    this.bind(this.gl.ARRAY_BUFFER, array);
    this.gl.enableVertexAttribArray(at);
    this.gl.vertexAttribPointer(at, size, kind, false, 0, 0);
  }

  bind(target, array) {
    const { gl, buffers } = this;
    if (buffers.has(array)) return gl.bindBuffer(target, buffers.get(array));
    buffers.set(array, gl.createBuffer());
    gl.bindBuffer(target, buffers.get(array));
    gl.bufferData(target, array, gl.STATIC_DRAW);
  }

  colours(scale) {
    const { gl, textures } = this;
    if (textures.has(scale)) return gl.bindTexture(gl.TEXTURE_2D, textures.get(scale));
    textures.set(scale, gl.createTexture());
    gl.bindTexture(gl.TEXTURE_2D, textures.get(scale));
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    const kind = [gl.RGB, gl.UNSIGNED_BYTE];
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB8, 256, 1, 0, ...kind, scale.palette);
    for (const filter of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) {
      gl.texParameteri(gl.TEXTURE_2D, filter, gl.NEAREST);
    }
  }

  /* The framebuffer with several samples per pixel, of the size of the picture. */
  smoothing(width, height) {
    const { gl } = this;
    this.samples ??= { frame: gl.createFramebuffer(), buffers: {} };
    const { frame, buffers } = this.samples;
    if (this.samples.width === width && this.samples.height === height) return frame;
    Object.assign(this.samples, { width, height });
    gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
    for (const [format, attachment] of [
      [gl.RGBA8, gl.COLOR_ATTACHMENT0],
      [gl.DEPTH_COMPONENT24, gl.DEPTH_ATTACHMENT],
    ]) {
      const buffer = (buffers[attachment] ??= gl.createRenderbuffer());
      gl.bindRenderbuffer(gl.RENDERBUFFER, buffer);
      gl.renderbufferStorageMultisample(gl.RENDERBUFFER, SAMPLES, format, width, height);
      gl.framebufferRenderbuffer(gl.FRAMEBUFFER, attachment, gl.RENDERBUFFER, buffer);
    }
    return frame;
  }
}
