/* The served page: the scene, then the live bench if there is one. */
(function (tubewright) {
  "use strict";

  const { onMounted, ref, shallowRef } = Vue;

  const page = {
    setup() {
      const [pack, offer] = [shallowRef(null), shallowRef(null)];
      const [fault, drawn] = [ref(""), ref(false)];
      onMounted(async () => {
        try {
          pack.value = await tubewright.server.scene();
          document.title = `${pack.value.title} \u2013 tubewright`;
          offer.value = await tubewright.server.live();
        } catch (error) {
          fault.value = error.message;
        }
      });
      return { drawn, fault, look: tubewright.newLook(), bare: tubewright.newLook(), offer, pack };
    },
    template: `
      <div class="tubewright" :aria-busy="!drawn && !fault">
        <header class="tw-head">
          <h1>{{ pack ? pack.title : "Loading" }}</h1>
          <nav aria-label="Parts of this page" v-if="pack">
            <a href="#path">Path</a> <a href="#bench">Live bench</a>
          </nav>
        </header>
        <main>
          <p v-if="fault" class="tw-fault" role="alert">{{ fault }}</p>
          <section id="path" v-if="pack" aria-labelledby="path-title">
            <h2 id="path-title">Path</h2>
            <path-sheet :pack="pack" :look="look" :curves="true" level="h3"
              @drawn="drawn = true" />
          </section>
          <section id="bench" v-if="offer" aria-labelledby="bench-title">
            <h2 id="bench-title">Live bench</h2>
            <live-bench v-if="offer.offered" :offer="offer" :look="bare" level="h3" />
            <p v-else>{{ offer.reason }}</p>
          </section>
        </main>
        <footer class="tw-foot">
          <p><strong>Estimates, not a certificate.</strong> Pressurised rubber can burst, hoses and
            taut threads whip: shield the device, limit the pressure, wear eye protection, follow
            local rules.</p>
        </footer>
      </div>`,
  };

  tubewright.mount(page, {}, document.getElementById("sheet"));
})(globalThis.tubewright);
