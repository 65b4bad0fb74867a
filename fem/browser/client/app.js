/* Puts the components together into what is mounted: a page's sheet, or a scene of a report. */
(function (tubewright) {
  "use strict";

  let count = 0;

  /* An id that nothing else on the page has, however many scenes there are. */
  tubewright.newId = () => {
    count += 1;
    return `tw-${count}`;
  };

  /* Mount `component` with `props` on an element. */
  tubewright.mount = function (component, props, element) {
    const app = Vue.createApp(component, props);
    for (const [name, part] of Object.entries(tubewright.components)) app.component(name, part);
    app.mount(element);
    return app;
  };

  /* A scene of a report: shapes, slider, colour bars and read-outs of a pack. */
  tubewright.scene = {
    props: { pack: Object },
    setup: () => ({ look: tubewright.newLook(), drawn: Vue.ref(false) }),
    template: `
      <div class="tubewright" :aria-busy="!drawn">
        <path-sheet :pack="pack" :look="look" :curves="false" level="p" @drawn="drawn = true" />
      </div>`,
  };
})((globalThis.tubewright ??= { components: {} }));
