// The pastry and its mould in 3D: what is shown of them, and the buttons around the picture.
import { Gestures, labels, Scene, unpacked } from "moulddesign-scene";

const STEP = Math.PI / 24;
const ZOOM = 1.2;

export default {
  props: ["texts", "names", "look", "language"],
  data() {
    return {
      view: "piece", picture: "", drawn: 0, stage: "", light: "", sizes: null, overlay: "",
      waiting: true, stale: false, without: false, hasParts: false, bodies: "", way: "",
    };
  },
  computed: {
    views() {
      const parts = this.hasParts ? ["parts", "open"] : [];
      return ["piece", "cut", ...parts].map((name) => ({ name, label: this.texts[`view_${name}`] }));
    },
  },
  mounted() {
    this.latest = 0;
    const { canvas, stage } = this.$refs;
    try {
      this.scene = Object.freeze({ of: new Scene(canvas, this.look, () => this.hasDrawn()) });
    } catch {
      this.without = true;
      this.$emit("without");
      return;
    }
    this.gestures = Object.freeze({ of: new Gestures(canvas, this.scene.of, () => canvas.focus({ preventScroll: true })) });
    this.watcher = new ResizeObserver(() => {
      if (stage.clientWidth && stage.clientHeight) this.scene.of.resize(stage.clientWidth, stage.clientHeight);
    });
    this.watcher.observe(stage);
  },
  beforeUnmount() {
    this.watcher?.disconnect();
    this.scene?.of.dispose();
  },
  methods: {
    show(url, serial) {
      if (this.without) return;
      this.latest = serial;
      // one after another: the mould must not be overtaken by its own pastry
      const next = (this.queue ?? Promise.resolve()).then(() => this.load(url, serial));
      this.queue = next.catch(() => {}); // what could not be fetched must not stop the pictures after it
    },
    async load(url, serial) {
      if (serial < this.latest) return;
      const answer = await fetch(url);
      if (!answer.ok) return;
      const head = await unpacked(await answer.arrayBuffer());
      const scene = this.scene.of;
      if (head.stage === "light") {
        head.bodies.forEach((body) => scene.setLight(body));
        this.finest = serial;
        return;
      }
      const parts = head.stage === "mould";
      const incoming = new Set(head.bodies.map((body) => body.name));
      for (const [name, { role }] of scene.bodies) {
        if (!incoming.has(name) && parts === (role === "part")) scene.remove(name);
      }
      head.bodies.forEach((body) => scene.add(body));
      if (parts) this.hasParts = true;
      else this.sizes = head.sizes;
      this.serial = serial;
      this.reached = head.stage;
      this.bodies = [...scene.bodies.keys()].join(" ");
      this.stale = !parts && this.hasParts;
      this.waiting = false;
      if (!this.fitted || (parts && this.view !== "piece")) scene.fit();
      this.fitted = true;
      scene.request();
    },
    hasDrawn() {
      this.drawn = this.serial ?? 0;
      this.stage = this.reached ?? "";
      this.light = this.finest === this.serial ? "fine" : "coarse";
      this.way = this.scene.of.way;
      const cut = this.view === "cut" && this.sizes && !this.scene.of.moving;
      this.overlay = cut ? labels(this.scene.of, this.sizes, this.say) : "";
    },
    say(key, values) {
      const shown = (value) => (typeof value === "number" ? value.toLocaleString(this.language, { maximumFractionDigits: 1 }) : value);
      return this.texts[key].replace(/\{(\w+)\}/g, (_, name) => shown(values[name]));
    },
    setView(name) {
      this.view = name;
      this.scene.of.show(name);
    },
    zoom(ratio) {
      this.scene.of.zoomBy(ratio);
    },
    reset() {
      this.scene.of.reset();
    },
    onKey(event) {
      const turns = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
      const zooms = { "+": ZOOM, "=": ZOOM, "-": 1 / ZOOM };
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      if (event.key === "0") this.reset();
      else if (zooms[event.key]) this.zoom(zooms[event.key]);
      else if (turns[event.key]) this.scene.of.turn(...turns[event.key].map((one) => one * STEP));
      else return;
      event.preventDefault();
    },
    showPicture(picture, serial) {
      this.picture = picture;
      this.waiting = false;
      this.drawn = serial;
    },
  },
  template: `
    <div class="view" :data-drawn="drawn" :data-stage="stage" :data-view="view" :data-light="light" :data-bodies="bodies" :data-way="way">
      <div class="viewport" ref="stage">
        <canvas v-show="!without" ref="canvas" tabindex="0" role="img" :aria-label="texts.view_label" @keydown="onKey"></canvas>
        <svg v-if="!without" class="view-overlay" aria-hidden="true" v-html="overlay"></svg>
        <img v-if="picture" :src="picture" :alt="texts.view_label" />
        <p v-if="without && !picture" class="overlay">{{ texts.no_webgl }}</p>
        <p v-if="waiting && !without" class="overlay">{{ texts.first_picture }}</p>
        <p v-if="stale" class="badge">{{ texts.parts_follow }}</p>
        <template v-if="!without">
          <div class="views" role="group" :aria-label="texts.views">
            <button v-for="one in views" :key="one.name" type="button" :aria-pressed="view === one.name" @click="setView(one.name)">{{ one.label }}</button>
          </div>
          <div class="zooms">
            <button type="button" :aria-label="texts.nearer" @click="zoom(${ZOOM})">+</button>
            <button type="button" :aria-label="texts.farther" @click="zoom(1 / ${ZOOM})">&minus;</button>
            <button type="button" :aria-label="texts.reset_view" :title="texts.reset_view" @click="reset()">&#8962;</button>
          </div>
        </template>
      </div>
      <p class="help">{{ texts.view_help }}</p>
    </div>`,
};
