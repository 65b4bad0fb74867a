/* The served page: the setting of a study if there is one, the shapes, and the live explorer. */
import { h, mount, redraw } from "./dom.js";
import { explorerView } from "./explorer_view.js";
import { Display } from "./display.js";
import { pathView } from "./path.js";
import { newest, server } from "./server.js";
import { studyChoice, studyMap } from "./study.js";

const CAUTION =
  " Pressurised rubber can burst; hoses and taut threads can whip. Shield the device, limit the " +
  "pressure, wear eye protection, follow local rules.";

const section = (id, title, ...children) =>
  h("section", { id, "aria-labelledby": `${id}-title` },
    h("h2", { id: `${id}-title` }, title), children);

/* A component: the page. */
function page() {
  const [pathDisplay, explorerDisplay] = [new Display(), new Display()];
  let [pack, study, explorer] = [null, null, null];
  let [fault, drawn, chosen] = ["", false, 0];

  /* Run a request to the server, and show its error on the page. */
  const tried = async (request) => {
    try {
      await request();
      fault = "";
    } catch (error) {
      fault = error.message;
    }
    redraw();
  };
  const show = newest((number) =>
    tried(async () => {
      pack = await server.setting(study.settings[number].key);
    }));
  const choose = (number) => {
    chosen = number;
    show(number);
  };
  tried(async () => {
    pack = await server.scene();
    document.title = `${pack.title} \u2013 tubewright`;
    redraw();
    const [found, live] = await Promise.all([server.study(), server.live()]);
    explorer = live;
    if (!found.available) return;
    study = found;
    chosen = Math.max(0, found.settings.findIndex(({ key }) => key === found.first));
  });

  const links = () =>
    h("nav", { "aria-label": "Sections" },
      study && h("a", { href: "#study" }, "Study"), " ",
      h("a", { href: "#path" }, "Path"), " ",
      h("a", { href: "#explorer" }, "Live explorer"));
  const ofStudy = () =>
    section("study", "Study",
      h("div.tw-study",
        h(studyChoice, { study, chosen, choose }),
        h(studyMap, { study, chosen, choose, titles: pack.models })));
  const path = () =>
    h(pathView, {
      pack, display: pathDisplay,
      curves: true, level: "h3",
      drawn() {
        if (!drawn) redraw();
        drawn = true;
      },
    });
  const live = () =>
    explorer.available
      ? h(explorerView, { ranges: explorer, display: explorerDisplay })
      : h("p", explorer.reason);

  return () =>
    h("div.tubewright", { "aria-busy": String(!drawn && !fault) },
      h("header.tw-head", h("h1", pack ? pack.title : "Loading"), pack && links()),
      h("main",
        fault && h("p.tw-fault", { role: "alert" }, fault),
        study && ofStudy(),
        pack && section("path", "Path", path()),
        explorer && section("explorer", "Live explorer", live())),
      h("footer.tw-foot", h("p", h("strong", "Estimates, not a certificate."), CAUTION)));
}

mount(page, {}, document.getElementById("app"));
