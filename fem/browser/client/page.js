/* The served page: the setting of a study if there is one, its scene, and the live bench. */
(function (tubewright) {
  "use strict";

  const { onMounted, ref, shallowRef, watch } = Vue;

  const page = {
    setup() {
      const [pack, study, offer] = [shallowRef(null), shallowRef(null), shallowRef(null)];
      const [fault, drawn, setting] = [ref(""), ref(false), ref(0)];
      const { server } = tubewright;

      /* Run a question to the server; what goes wrong is said on the page. */
      const tried = async (ask) => {
        try {
          await ask();
          fault.value = "";
        } catch (error) {
          fault.value = error.message;
        }
      };
      const show = tubewright.newest((number) =>
        tried(async () => {
          pack.value = await server.setting(study.value.settings[number].key);
        }),
      );
      onMounted(() =>
        tried(async () => {
          pack.value = await server.scene();
          document.title = `${pack.value.title} \u2013 tubewright`;
          const [found, offered] = await Promise.all([server.study(), server.live()]);
          offer.value = offered;
          if (!found.offered) return;
          study.value = found;
          setting.value = Math.max(0, found.settings.findIndex(({ key }) => key === found.first));
          watch(setting, show);
        }),
      );
      const [look, bare] = [tubewright.newLook(), tubewright.newLook()];
      return { bare, drawn, fault, look, offer, pack, setting, study };
    },
    template: `
      <div class="tubewright" :aria-busy="!drawn && !fault">
        <header class="tw-head">
          <h1>{{ pack ? pack.title : "Loading" }}</h1>
          <nav aria-label="Parts of this page" v-if="pack">
            <a v-if="study" href="#study">Study</a> <a href="#path">Path</a>
            <a href="#bench">Live bench</a>
          </nav>
        </header>
        <main>
          <p v-if="fault" class="tw-fault" role="alert">{{ fault }}</p>
          <section id="study" v-if="study" aria-labelledby="study-title">
            <h2 id="study-title">Study</h2>
            <div class="tw-study">
              <study-choice :study="study" v-model="setting" />
              <study-map :study="study" :titles="pack.models" v-model="setting" />
            </div>
          </section>
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
