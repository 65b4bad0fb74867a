/* In a page that carries scenes: unpack the scripts once, when the page has been read. */
(function () {
  "use strict";

  const bytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));

  async function inflate(text) {
    const packed = new Blob([bytes(text)]).stream();
    return new Response(packed.pipeThrough(new DecompressionStream("gzip"))).arrayBuffer();
  }

  async function load() {
    const code = document.createElement("script");
    const packed = document.querySelector(".tw-code").textContent;
    code.textContent = new TextDecoder().decode(await inflate(packed));
    document.head.append(code);
    globalThis.tubewright.show(inflate);
  }

  if (globalThis.tubewrightLoads) return;
  globalThis.tubewrightLoads = true;
  document.addEventListener("DOMContentLoaded", load);
})();
