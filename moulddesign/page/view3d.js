// The pastry and its mould in 3D: what is shown of them, and the buttons around the picture.
import { carving, Gestures, labels, relief, Scene, unpacked } from "moulddesign-scene";

const STEP = Math.PI / 24;
const ZOOM = 1.2;
const NUDGE_MM = 0.5, FAR_MM = 5, TURN_DEG = 5, SCALE = 1.03;
const SEND_MS = 350;

export default {
  props: ["texts", "names", "look", "language", "shares"],
  data() {
    return {
      view: "piece", picture: "", drawn: 0, stage: "", light: "", sizes: null, overlay: "",
      waiting: true, stale: false, without: false, layers: [], top: null, chosen: null, handles: null, snap: "", marked: null, ring: null, share: null, cut: 0, deep: 0, only: "", entries: [], entry: null, area: "", hasParts: false, bodies: "", way: "", size: "",
    };
  },
  computed: {
    layer() {
      return this.layers.find((one) => one.place === this.chosen) ?? null;
    },
    faced() {
      return this.entry === null ? null : this.entries[this.entry] ?? null;
    },
    entryName() {
      const { list, place, figure } = this.faced;
      if (figure) return `${this.names[figure] ?? figure}`;
      return this.texts[`face_${list}`].replace("{number}", place + 1);
    },
    trouble() {
      return this.layer ? relief.trouble(this.layer, this.layers, this.top.rim) : "";
    },
    parts() {
      return this.bodies.split(" ").filter((name) => this.scene?.of.bodies.get(name)?.role === "part");
    },
    cutSays() {
      return this.say(this.cut ? (this.cut < 0 ? "cut_before" : "cut_behind") : "cut_middle", { value: Math.abs(this.cut) });
    },
    isCut() {
      return this.view === "cut" || this.view === "open";
    },
    views() {
      const parts = this.hasParts ? ["parts", "open"] : [];
      return ["piece", "cut", ...parts].map((name) => ({ name, label: this.texts[`view_${name}`] }));
    },
  },
  mounted() {
    this.latest = 0;
    this.sentAt = -1; // no change of a layer was sent yet
    const { canvas } = this.$refs;
    try {
      this.scene = Object.freeze({ of: new Scene(canvas, this.look, () => this.hasDrawn()) });
    } catch {
      this.without = true;
      this.$emit("without");
      return;
    }
    const does = { tap: this.onTap, pinch: this.onPinch, settle: () => this.layer && this.send() };
    this.gestures = Object.freeze({ of: new Gestures(canvas, this.scene.of, does) });
    this.watcher = new ResizeObserver(() => {
      if (canvas.clientWidth && canvas.clientHeight) this.scene.of.resize(canvas.clientWidth, canvas.clientHeight);
    });
    this.watcher.observe(canvas);
  },
  beforeUnmount() {
    this.watcher?.disconnect();
    this.scene?.of.dispose();
  },
  methods: {
    show(url, serial) {
      if (this.without) return;
      this.latest = serial;
      this.follow(() => this.load(url, serial));
    },
    // One after another: the mould must not be overtaken by its own pastry.
    follow(work) {
      const next = (this.queue ?? Promise.resolve()).then(work);
      this.queue = next.catch(() => {}); // what could not be fetched must not stop the pictures after it
    },
    // Draws the pastry in another size, until the true one comes.
    resize(width, height) {
      if (!this.without) this.follow(() => this.top && this.showResized(width, height));
    },
    showResized(width, height) {
      const scene = this.scene.of, { made } = this.top;
      scene.resizePiece({ scale: width / made.width, lift: height - made.z, height: made.z });
      this.top = Object.freeze({ ...this.top, z: height });
      this.sizes = { ...this.sizes, width, height };
      this.reached = "resized";
      this.stale = this.hasParts;
      this.fitted = "";
      scene.fit();
      scene.moved();
      scene.draw(); // not with the next frame, for which a busy machine lets one wait
    },
    async load(url, serial) {
      if (serial < this.latest) return;
      const answer = await fetch(url);
      if (!answer.ok) return;
      const head = await unpacked(await answer.arrayBuffer());
      const scene = this.scene.of;
      if (head.stage === "cut") return scene.cutAt(head.at, head.bodies);
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
      else {
        this.sizes = head.sizes;
        this.take(head, serial);
      }
      this.serial = serial;
      this.reached = head.stage;
      this.bodies = [...scene.bodies.keys()].join(" ");
      this.stale = !parts && this.hasParts;
      if (this.cut) this.sendCut(); // new bodies come cut through the middle
      if (this.only && !scene.bodies.has(this.only)) this.showOnly("");
      this.waiting = false;
      const size = head.bodies.find((body) => body.role === "pastry")?.high.join() ?? this.fitted;
      if (size !== this.fitted || (parts && this.view !== "piece")) scene.fit();
      this.fitted = size;
      if (head.stage === "coarse") scene.moved(); // what is coarse comes soon rather than sharp
      else scene.request();
    },
    hasDrawn() {
      this.drawn = this.serial ?? 0;
      this.stage = this.reached ?? "";
      this.light = this.finest === this.serial ? "fine" : "coarse";
      this.way = this.scene.of.way;
      this.size = this.scene.of.sizeOf("pastry");
      const cut = this.view === "cut" && this.sizes && !this.cut && !this.scene.of.moving;
      this.overlay = cut ? labels(this.scene.of, this.sizes, this.say, this.marked?.cut) : "";
      this.showHandles();
      this.showRing();
      this.showArea();
    },
    // Shows the place of a finding: a point of the top, a layer, the cut, or a part.
    showPlace(place) {
      if (this.without) return;
      const view = place.cut ? "cut" : place.part && this.hasParts ? "parts" : "piece";
      this.setView(view);
      if (place.part) this.showOnly("");
      if (place.cut && this.cut) {
        this.cut = 0; // where its sizes are
        this.sendCut();
      }
      if (place.layer !== undefined) this.choose(this.layers.some((one) => one.place === place.layer) ? place.layer : null);
      this.marked = Object.freeze(place);
      const { top, bottom } = this.$refs.stage.getBoundingClientRect();
      if (top < 0 || bottom > innerHeight) this.$refs.stage.scrollIntoView({ block: "nearest" });
      this.scene.of.request();
    },
    showRing() {
      const { at, part } = this.marked ?? {};
      const around = part && this.scene.of.around(part);
      if (at && this.top) this.ring = [...this.scene.of.project(at[0], at[1], this.top.z), 16];
      else this.ring = around || null;
    },
    showArea() {
      const shown = this.faced && this.face && this.view === "piece" && !this.scene.of.moving;
      this.area = shown ? carving.area(this.face, this.scene.of, this.entry) : "";
    },
    takeEntry(entry) {
      this.choose(null);
      this.entry = entry;
      this.showArea();
    },
    shownOfEntry(key) {
      const value = this.faced[key];
      return String(key.endsWith("_ratio") ? Math.round(1000 * value) / 10 : value).replace(".", this.texts.decimal);
    },
    setEntry(key, text) {
      const number = Number(text.replace(",", "."));
      const isNumber = this.faced.numbers.includes(key);
      if (isNumber && !(text.trim() && Number.isFinite(number))) return;
      const value = isNumber ? (key.endsWith("_ratio") ? number / 100 : number) : text;
      this.$emit("face", { list: this.faced.list, place: this.faced.place, key, value });
    },
    unmark() {
      this.marked = this.ring = null;
    },
    setPiece(percent, centres) {
      if (!this.sharing) this.share = percent;
      this.centres = centres;
      if (this.scene && this.view === "cut") this.scene.of.request(); // they are written there
    },
    onShare() {
      clearTimeout(this.sharing);
      this.sharing = setTimeout(() => {
        this.sharing = null;
        this.$emit("share", this.share);
      }, 60);
    },
    sendCut() {
      this.$emit("cut", [this.cut, this.view === "open"]);
    },
    showOnly(name) {
      this.only = name;
      this.scene.of.showOnly(name);
    },
    partName(name) {
      const [kind, ...own] = name.split("-");
      return this.names[name] ?? [this.names[kind] ?? kind, ...own].join("-");
    },
    // layers of the relief
    take(head, serial) {
      this.top = Object.freeze({ ...head.top, made: head.top });
      this.face = head.face && Object.freeze(carving.opened(head.face));
      this.entries = head.face?.entries ?? [];
      if (this.entry >= this.entries.length) this.entry = null;
      // A picture that knows nothing yet of the last change does not undo it.
      const changed = (this.pending || serial <= this.sentAt) && this.layer;
      this.layers = head.layers.map((sent) => {
        const { x, y, turn, size } = sent, rings = Object.freeze(sent.rings);
        const kept = changed && sent.place === this.chosen ? { x: changed.x, y: changed.y, turn: changed.turn, size: changed.size } : {};
        return { ...sent, rings, start: { x, y, turn, size }, ...kept };
      });
      if (!this.layer) this.chosen = null;
    },
    showHandles() {
      this.handles = this.layer && this.view === "piece" ? relief.handles(this.scene.of, this.layer, this.top.z) : null;
    },
    choose(place) {
      if (this.pending) this.send();
      this.unmark();
      this.entry = null;
      this.area = "";
      this.chosen = place;
      this.snap = "";
      this.showHandles();
    },
    nameOfLayer(layer) {
      return this.names[layer.name] ?? layer.name;
    },
    pointAt(event) {
      const box = this.$refs.canvas.getBoundingClientRect();
      return this.scene.of.onLevel(event.clientX - box.left, event.clientY - box.top, this.top.z);
    },
    onTap(event) {
      this.$refs.canvas.focus({ preventScroll: true });
      if (this.view !== "piece" || !this.top) return;
      const layer = relief.tapped(this.pointAt(event), this.layers)?.place ?? null;
      if (layer !== null || !this.face) return this.choose(layer);
      const box = this.$refs.canvas.getBoundingClientRect();
      this.takeEntry(carving.entryAt(this.face, this.scene.of, event.clientX - box.left, event.clientY - box.top, this.top.z));
    },
    onPinch(ratio, radians) {
      if (!this.handles) return false;
      this.change({ size: this.layer.size * ratio, turn: this.layer.turn + (radians * 180) / Math.PI }, false);
      return true;
    },
    // Shows a change at once; the server makes the true surface when the hand rests.
    change(values, send = true) {
      Object.assign(this.layer, values);
      this.pending = true;
      this.showHandles();
      clearTimeout(this.timer);
      if (send) this.timer = setTimeout(this.send, SEND_MS);
    },
    send() {
      clearTimeout(this.timer);
      this.pending = false;
      if (!this.layer) return; // it was taken away meanwhile
      this.sentAt = this.latest;
      relief.rounded(this.layer);
      this.showHandles();
      const { place, x, y, turn, size, start } = this.layer;
      const resized = Math.abs(size - start.size) > 0.04;
      this.$emit("layer", { place, x_mm: x, y_mm: y, turn_deg: turn, size_mm: resized ? size : null });
    },
    onGrab(name, event) {
      const gestures = this.gestures.of;
      if (event.pointerType !== "mouse") gestures.begin(event);
      if (gestures.isPinching) return (this.action = null); // two fingers on the layer itself
      const { x, y, turn, size } = this.layer, point = this.pointAt(event);
      const right = point.x - x, up = point.y - y;
      event.target.setPointerCapture(event.pointerId);
      event.target.focus?.({ preventScroll: true });
      this.action = { name, right, up, turn, size, far: Math.hypot(right, up), angle: Math.atan2(up, right) };
    },
    onDrag(event) {
      const gestures = this.gestures.of;
      if (gestures.isPinching) return gestures.move(event);
      if (!this.action) return;
      gestures.follow(event);
      const { name, right, up, turn, size, far, angle } = this.action, point = this.pointAt(event);
      const { x, y } = this.layer;
      if (name === "move") {
        const free = { x: point.x - right, y: point.y - up, snap: "" };
        const { snap, ...to } = event.altKey ? free : relief.snapped(free.x, free.y);
        this.snap = snap;
        this.change(to, false);
      } else if (name === "turn") {
        const free = turn + ((Math.atan2(point.y - y, point.x - x) - angle) * 180) / Math.PI;
        this.change({ turn: event.altKey ? free : relief.snappedTurn(free) }, false);
      } else {
        this.change({ size: Math.max((size * Math.hypot(point.x - x, point.y - y)) / far, relief.LEAST_MM) }, false);
      }
    },
    onDrop(event) {
      this.gestures.of.release(event);
      if (!this.action) return;
      this.action = null;
      this.snap = "";
      this.send();
    },
    // Keys of the canvas and of the handles while a layer is chosen; whether the key meant anything.
    layerKey({ key, shiftKey }) {
      if (this.view === "piece" && !this.layers.length && this.entries.length) {
        if (key === "n" || (key === "Enter" && !this.faced)) this.takeEntry(((this.entry ?? -1) + 1) % this.entries.length);
        else if (key === "Escape" && this.faced) this.takeEntry(null);
        else return false;
        return true;
      }
      if (!this.layers.length || this.view !== "piece") return false;
      const next = { n: 1, Enter: this.layer ? 0 : 1 }[key];
      if (next) {
        const at = this.layers.findIndex((one) => one.place === this.chosen);
        this.choose(this.layers[(at + 1) % this.layers.length].place);
        return true;
      }
      if (!this.layer) return false;
      const { x, y, turn, size } = this.layer, by = shiftKey ? FAR_MM : NUDGE_MM;
      const changes = {
        ArrowLeft: { x: x - by }, ArrowRight: { x: x + by }, ArrowUp: { y: y + by }, ArrowDown: { y: y - by },
        "[": { turn: turn + TURN_DEG }, "]": { turn: turn - TURN_DEG },
        "+": { size: size * SCALE }, "=": { size: size * SCALE }, "-": { size: size / SCALE },
        0: { x: 0, y: 0, turn: 0 },
      };
      if (key === "Escape") this.choose(null);
      else if (changes[key]) this.change(changes[key]);
      else return false;
      return true;
    },
    setNumber(name, event) {
      const number = Number(event.target.value.replace(",", "."));
      if (event.target.value.trim() && Number.isFinite(number)) this.change({ [name]: number });
    },
    say(key, values) {
      const shown = (value) => this.centres?.[value] ?? (typeof value === "number" ? value.toLocaleString(this.language, { maximumFractionDigits: 1 }) : value);
      return this.texts[key].replace(/\{(\w+)\}/g, (_, name) => shown(values[name]));
    },
    setView(name) {
      this.view = name;
      this.choose(null);
      this.scene.of.show(name);
      if (!this.isCut) return;
      this.deep = Math.max(Math.floor(2 * this.scene.of.deep[1] - 0.5) / 2, 0);
      if (Math.abs(this.cut) > this.deep) this.cut = 0;
      if (this.cut) this.sendCut(); // the mould around a piece that was cut, or the piece alone
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
      if (this.layerKey(event)) return event.preventDefault();
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
    <div class="view" :data-drawn="drawn" :data-stage="stage" :data-view="view" :data-light="light" :data-bodies="bodies" :data-way="way" :data-size="size">
      <div class="viewport" ref="stage">
        <canvas v-show="!without" ref="canvas" tabindex="0" role="img" :aria-label="texts.view_label" @keydown="onKey"></canvas>
        <svg v-if="!without" class="view-overlay" aria-hidden="true" v-html="overlay"></svg>
        <svg v-if="handles" class="view-overlay handles" :class="{ trouble }" role="group" :aria-label="nameOfLayer(layer)"
            @pointermove="onDrag" @pointerup="onDrop" @pointercancel="onDrop" @keydown="onKey">
          <path class="layer-outline" :d="handles.outline" />
          <path class="layer-ring" :d="handles.ring" data-handle="move" @pointerdown.prevent="onGrab('move', $event)" />
          <g v-for="one in ['turn', 'scale']" :key="one">
            <circle class="knob" :cx="handles[one][0]" :cy="handles[one][1]" r="11" />
            <text class="knob-mark" :x="handles[one][0]" :y="handles[one][1] + 5" text-anchor="middle">{{ one === 'turn' ? '\u21bb' : '\u2921' }}</text>
            <circle class="knob-reach" :cx="handles[one][0]" :cy="handles[one][1]" r="22" :data-handle="one" tabindex="0" role="slider"
              :aria-label="texts['layer_' + one]" :aria-valuenow="one === 'turn' ? Math.round(layer.turn) : layer.size.toFixed(1)"
              :aria-valuemin="one === 'turn' ? -360 : ${2}" :aria-valuemax="one === 'turn' ? 360 : 400"
              @pointerdown.prevent="onGrab(one, $event)" />
          </g>
          <text v-if="snap || trouble" class="size tip" :x="handles.tip[0]" :y="handles.tip[1]" text-anchor="middle">{{ texts[trouble || snap] }}</text>
        </svg>
        <svg v-if="area" class="view-overlay handles" aria-hidden="true"><path class="entry-area" :d="area" /></svg>
        <svg v-if="ring" class="view-overlay" aria-hidden="true"><circle class="mark" :cx="ring[0]" :cy="ring[1]" :r="ring[2]" /></svg>
        <p v-if="marked" class="badge marked" role="status">{{ marked.title }}</p>
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
      <section v-if="isCut && !without" class="layer-card cut-card" :aria-label="texts.cut_place">
        <label v-if="view === 'cut' && share !== null">{{ texts.choose_share }} <small>{{ say('share_of_crust', { percent: Math.round(share) }) }}</small>
          <input id="cut-share" type="range" :min="shares.min" :max="shares.max" :step="shares.step" v-model.number="share" @input="onShare"
            :aria-valuetext="say('share_of_crust', { percent: Math.round(share) })" /></label>
        <label>{{ texts.cut_place }} <small>{{ cutSays }}</small>
          <input id="cut-place" type="range" :min="-deep" :max="deep" step="0.5" v-model.number="cut" @input="sendCut" :aria-valuetext="cutSays" /></label>
      </section>
      <section v-if="view === 'parts'" class="layer-card" :aria-label="texts.part_shown">
        <label>{{ texts.part_shown }}
          <select id="part-shown" :value="only" @change="showOnly($event.target.value)">
            <option value="">{{ texts.all_parts }}</option>
            <option v-for="name in parts" :key="name" :value="name">{{ partName(name) }}</option>
          </select></label>
      </section>
      <section v-if="faced && view === 'piece'" class="layer-card face-card" :aria-label="entryName">
        <strong>{{ entryName }}</strong>
        <label v-for="key in faced.numbers" :key="key">{{ texts['face_' + key] }}
          <input :value="shownOfEntry(key)" :data-key="key" inputmode="decimal" autocomplete="off" @change="setEntry(key, $event.target.value)" /></label>
        <label v-if="faced.content">{{ texts['face_' + faced.content] }}
          <select v-if="faced.options" :value="faced[faced.content]" @change="setEntry(faced.content, $event.target.value)">
            <option v-if="!faced.options.includes(faced[faced.content])" :value="faced[faced.content]">{{ names[faced[faced.content]] ?? faced[faced.content] }}</option>
            <option v-for="one in faced.options" :key="one" :value="one">{{ one ? names[one] ?? one : texts.face_nothing }}</option>
          </select>
          <input v-else :value="faced.text" autocomplete="off" @change="setEntry('text', $event.target.value)" /></label>
        <button type="button" @click="takeEntry(null)">{{ texts.layer_done }}</button>
      </section>
      <section v-if="handles" class="layer-card" :aria-label="nameOfLayer(layer)">
        <strong>{{ nameOfLayer(layer) }}</strong>
        <label v-for="[key, digits] in [['x', 1], ['y', 1], ['turn', 0], ['size', 1]]" :key="key">{{ texts['layer_number_' + key] }}
          <input :value="layer[key].toFixed(digits).replace('.', texts.decimal)" inputmode="decimal" autocomplete="off" @change="setNumber(key, $event)" /></label>
        <button type="button" @click="choose(null)">{{ texts.layer_done }}</button>
        <p v-if="trouble" class="trouble" role="status">{{ texts[trouble] }}</p>
      </section>
      <p class="help">{{ handles ? texts.layer_help : faced ? texts.face_help : texts.view_help }}</p>
    </div>`,
};
