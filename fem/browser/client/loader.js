/* In a page with embedded scenes: unpack the scripts, once. */
async function inflate(text) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).arrayBuffer();
}

const [code, ...others] = document.querySelectorAll(".tw-code");
others.forEach((other) => other.remove());
if (code) {
  globalThis.inflateScene = inflate;
  const script = document.createElement("script");
  script.type = "module";
  code.remove();
  script.textContent = new TextDecoder().decode(await inflate(code.textContent));
  document.head.append(script);
}
