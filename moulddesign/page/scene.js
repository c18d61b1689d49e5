// The pastry and its mould in 3D: draws only when something changed, and says what it has drawn.
import { THREE, OrbitControls } from "nicegui-scene";

const LIGHT = [-80, -60, 42]; // raking from the left front: relief casts its shape
const AXES = { x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] };
const TURN = Math.PI / 24;

function unpacked(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  let at = 4 + length;
  for (const body of head.bodies) {
    body.vertices = new Float32Array(buffer, at, body.points * 3);
    at += body.points * 12;
    body.triangles = new Uint32Array(buffer, at, body.facets * 3);
    at += body.facets * 12;
  }
  return head;
}

export default {
  props: ["texts", "names"],
  data() {
    return {
      bodies: [], // {name, role, colour, shown}
      apart: 0, axis: "", cut: 50, through: false, without: false, picture: "", drawn: 0, stage: "",
      waiting: true, stale: false,
    };
  },
  computed: {
    parts() {
      return this.bodies.filter((body) => body.role === "pastry" || body.role === "part");
    },
    inner() {
      return this.bodies.filter((body) => body.role !== "part");
    },
  },
  mounted() {
    this.meshes = new Map();
    this.latest = 0;
    try {
      this.setUp();
    } catch (error) {
      this.without = true;
      this.$emit("without");
    }
  },
  beforeUnmount() {
    this.watcher?.disconnect();
    this.clear(() => true);
    this.renderer?.dispose();
    this.controls?.dispose();
  },
  methods: {
    setUp() {
      const canvas = this.$refs.canvas;
      this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true, stencil: true });
      this.renderer.localClippingEnabled = true;
      this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, 2));
      this.scene = new THREE.Scene();
      this.scene.add(new THREE.HemisphereLight(0xffffff, 0x8a8078, 1.35));
      const light = new THREE.DirectionalLight(0xffffff, 2.1);
      light.position.set(...LIGHT);
      this.scene.add(light);
      this.camera = new THREE.PerspectiveCamera(32, 1, 1, 4000);
      this.camera.up.set(0, 0, 1);
      this.camera.position.set(0, -70, 90);
      this.controls = new OrbitControls(this.camera, canvas);
      this.controls.enableDamping = false;
      this.controls.addEventListener("change", () => this.wish());
      this.plane = new THREE.Plane(new THREE.Vector3(0, 1, 0), 0);
      canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
      canvas.addEventListener("webglcontextrestored", () => this.wish());
      this.watcher = new ResizeObserver(() => this.resize());
      this.watcher.observe(this.$refs.stage);
      this.resize();
    },
    resize() {
      const { clientWidth: width, clientHeight: height } = this.$refs.stage;
      if (!width || !height) return;
      this.renderer.setSize(width, height, false);
      this.camera.aspect = width / height;
      this.camera.updateProjectionMatrix();
      if (this.fitted) this.fit();
      this.draw(); // at once: the new size has emptied the canvas, and a blank frame would flash
    },
    wish() {
      if (this.asked || !this.renderer) return;
      this.asked = requestAnimationFrame(() => this.draw());
    },
    draw() {
      cancelAnimationFrame(this.asked);
      this.asked = 0;
      this.place();
      this.renderer.render(this.scene, this.camera);
      this.drawn = this.serial ?? 0;
      this.stage = this.reached ?? "";
    },
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
      const head = unpacked(await answer.arrayBuffer());
      const hidden = new Set(this.bodies.filter((body) => !body.shown).map((body) => body.name));
      const fresh = new Set(head.bodies.map((body) => body.name));
      const goes = (name, role) => fresh.has(name) || (head.stage === "mould") === (role === "part");
      this.clear(goes);
      head.bodies.forEach((body, place) => this.add(body, place));
      const kept = this.bodies.filter((body) => this.meshes.has(body.name) && !fresh.has(body.name));
      const made = head.bodies.map(({ name, role, colour, lift }) => ({
        name, role, colour, lift, shown: !hidden.has(name) && (role !== "part" || this.everShown === true),
      }));
      this.bodies = [...made.filter((b) => b.role !== "part"), ...kept, ...made.filter((b) => b.role === "part")];
      this.serial = serial;
      this.reached = head.stage;
      this.stale = head.stage === "pastry" && this.bodies.some((body) => body.role === "part");
      this.waiting = false;
      if (!this.fitted) this.fit(true);
      this.wish();
    },
    clear(goes) {
      for (const [name, group] of this.meshes) {
        if (!goes(name, group.userData.role)) continue;
        group.traverse((node) => { node.geometry?.dispose(); node.material?.dispose(); });
        this.scene?.remove(group);
        this.meshes.delete(name);
      }
    },
    add(body, place) {
      const geometry = new THREE.BufferGeometry();
      geometry.setAttribute("position", new THREE.BufferAttribute(body.vertices, 3));
      geometry.setIndex(new THREE.BufferAttribute(body.triangles, 1));
      geometry.computeBoundingBox();
      const group = new THREE.Group();
      group.userData = { role: body.role, lift: body.lift, box: geometry.boundingBox };
      // each body is counted and capped before the next one is; what lies inside caps later
      const order = { part: 1 + place, pastry: 101, filling: 102, centre: 103 }[body.role];
      const solid = new THREE.Mesh(geometry, new THREE.MeshStandardMaterial({
        color: body.colour, flatShading: true, roughness: 0.85, metalness: 0, side: THREE.DoubleSide,
      }));
      solid.renderOrder = 200;
      group.add(solid);
      const counters = [[THREE.BackSide, THREE.IncrementWrapStencilOp], [THREE.FrontSide, THREE.DecrementWrapStencilOp]];
      for (const [side, operation] of counters) {
        const counter = new THREE.Mesh(geometry, new THREE.MeshBasicMaterial({
          side, colorWrite: false, depthWrite: false, depthTest: false, stencilWrite: true,
          stencilFunc: THREE.AlwaysStencilFunc, stencilFail: operation, stencilZFail: operation, stencilZPass: operation,
        }));
        counter.userData.counts = true;
        counter.renderOrder = order;
        group.add(counter);
      }
      const cap = new THREE.Mesh(new THREE.PlaneGeometry(800, 800), new THREE.MeshBasicMaterial({
        color: body.capped ?? body.colour, side: THREE.DoubleSide, stencilWrite: true, stencilRef: 0,
        stencilFunc: THREE.NotEqualStencilFunc, stencilFail: THREE.ReplaceStencilOp,
        stencilZFail: THREE.ReplaceStencilOp, stencilZPass: THREE.ReplaceStencilOp,
      }));
      cap.userData.cap = true;
      cap.renderOrder = order + 0.5;
      cap.onAfterRender = (renderer) => renderer.clearStencil();
      group.add(cap);
      this.meshes.set(body.name, group);
      this.scene.add(group);
    },
    place() {
      const cutting = this.axis !== "";
      if (cutting) {
        const box = this.bounds();
        const way = new THREE.Vector3(...AXES[this.axis]);
        const low = box.min.dot(way), high = box.max.dot(way);
        const at = low + ((high - low) * this.cut) / 100;
        // what lies before the cut, seen from the usual side, is taken away
        const sign = this.axis === "y" ? 1 : -1;
        this.plane.set(way.multiplyScalar(sign), -sign * at);
      }
      for (const body of this.bodies) {
        const group = this.meshes.get(body.name);
        if (!group) continue;
        const inside = body.role === "filling" || body.role === "centre";
        const pastry = this.bodies.find((other) => other.role === "pastry");
        group.visible = inside ? cutting && pastry?.shown === true : body.shown;
        const lift = (body.lift * this.apart) / 100;
        const faded = this.through && body.role === "part";
        for (const node of group.children) {
          if (node.userData.cap) {
            node.visible = cutting;
            this.plane.coplanarPoint(node.position);
            node.lookAt(node.position.clone().sub(this.plane.normal));
          } else if (node.userData.counts) {
            node.visible = cutting;
            node.position.z = lift;
          } else {
            node.position.z = lift;
            node.visible = !inside;
            node.material.transparent = faded;
            node.material.opacity = faded ? 0.28 : 1;
            node.material.depthWrite = !faded;
          }
          if (!node.userData.cap) node.material.clippingPlanes = cutting ? [this.plane] : [];
        }
      }
    },
    bounds() {
      const box = new THREE.Box3();
      for (const body of this.bodies) {
        const group = this.meshes.get(body.name);
        if (!group || !body.shown) continue;
        const lift = (body.lift * this.apart) / 100;
        box.union(group.userData.box.clone().translate(new THREE.Vector3(0, 0, lift)));
      }
      return box;
    },
    fit(anew) {
      const box = this.bounds();
      if (box.isEmpty()) return;
      if (anew) this.camera.position.copy(new THREE.Vector3(0, -0.72, 1)), this.controls.target.set(0, 0, 0);
      const way = this.camera.position.clone().sub(this.controls.target).normalize();
      const radius = box.getSize(new THREE.Vector3()).length() / 2;
      const half = (this.camera.fov * Math.PI) / 360;
      const narrow = Math.min(half, Math.atan(Math.tan(half) * this.camera.aspect));
      box.getCenter(this.controls.target);
      this.camera.position.copy(this.controls.target).addScaledVector(way, (1.02 * radius) / Math.sin(narrow));
      this.fitted = true;
      this.controls.update();
      this.wish();
    },
    all(shown) {
      this.everShown = shown;
      for (const body of this.bodies) body.shown = shown || body.role !== "part";
      this.fit();
    },
    tick(body, event) {
      body.shown = event.target.checked;
      if (body.role === "part" && body.shown) this.everShown = true;
      this.fit();
    },
    slide(event) {
      this.apart = Number(event.target.value);
      this.fit();
    },
    chop(event) {
      this.cut = Number(event.target.value);
      this.wish();
    },
    choose(event) {
      this.axis = event.target.value;
      this.wish();
    },
    fade(event) {
      this.through = event.target.checked;
      this.wish();
    },
    keyed(event) {
      const turns = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
      const zooms = { "+": 0.9, "=": 0.9, "-": 1.1 };
      if (event.key === "0") this.fit(true);
      else if (zooms[event.key]) this.nearer(zooms[event.key]);
      else if (turns[event.key]) this.turn(...turns[event.key]);
      else return;
      event.preventDefault();
    },
    nearer(share) {
      const away = this.camera.position.clone().sub(this.controls.target).multiplyScalar(share);
      this.camera.position.copy(this.controls.target).add(away);
      this.controls.update();
      this.wish();
    },
    turn(right, down) {
      const away = new THREE.Spherical().setFromVector3(this.upright(1));
      away.theta += right * TURN;
      away.phi = Math.min(Math.max(away.phi + down * TURN, 0.05), Math.PI - 0.05);
      const turned = new THREE.Vector3().setFromSpherical(away);
      this.camera.position.copy(this.controls.target).add(new THREE.Vector3(turned.x, -turned.z, turned.y));
      this.controls.update();
      this.wish();
    },
    upright() {
      const away = this.camera.position.clone().sub(this.controls.target);
      return new THREE.Vector3(away.x, away.z, -away.y);
    },
    instead(picture, serial) {
      this.picture = picture;
      this.waiting = false;
      this.drawn = serial;
    },
    named(body) {
      const [first, ...rest] = body.name.split("-"); // a further stamp has its name behind
      return [this.names[first] ?? first, ...rest].join("-");
    },
  },
  template: `
    <div class="sight" :data-drawn="drawn" :data-stage="stage">
      <div class="stage" ref="stage">
        <canvas v-show="!without" ref="canvas" tabindex="0" role="img" :aria-label="texts.view_says" @keydown="keyed"></canvas>
        <img v-if="picture" :src="picture" :alt="texts.view_says" />
        <p v-if="without && !picture" class="over">{{ texts.no_webgl }}</p>
        <p v-if="waiting && !without" class="over">{{ texts.first_picture }}</p>
        <p v-if="stale" class="corner">{{ texts.parts_follow }}</p>
        <ul v-if="axis" class="key" :aria-label="texts.key">
          <li v-for="body in inner" :key="body.name"><span class="swatch" :class="body.role"></span>{{ body.role === 'pastry' ? texts.crust : named(body) }}</li>
        </ul>
      </div>
      <div class="look" v-if="!without">
        <fieldset class="shown"><legend>{{ texts.shown }}</legend>
          <button type="button" :aria-pressed="!parts.some((b) => b.role === 'part' && b.shown)" @click="all(false)">{{ texts.pastry_only }}</button>
          <button type="button" :aria-pressed="parts.length > 1 && parts.every((b) => b.shown)" @click="all(true)">{{ texts.everything }}</button>
          <label v-for="body in parts" :key="body.name"><input type="checkbox" :checked="body.shown" @change="tick(body, $event)" />
            <span class="swatch" :style="{ background: body.colour }"></span>{{ named(body) }}</label>
        </fieldset>
        <label>{{ texts.apart }} <input type="range" min="0" max="100" :value="apart" @input="slide" /></label>
        <label>{{ texts.cut }} <select :value="axis" @change="choose">
          <option value="">{{ texts.uncut }}</option><option value="y">{{ texts.cut_front }}</option>
          <option value="x">{{ texts.cut_side }}</option><option value="z">{{ texts.cut_level }}</option></select></label>
        <label v-if="axis">{{ texts.cut_at }} <input type="range" min="1" max="99" :value="cut" @input="chop" /></label>
        <label class="tick"><input type="checkbox" :checked="through" @change="fade" /> {{ texts.see_through }}</label>
        <button type="button" @click="fit(true)">{{ texts.as_at_first }}</button>
      </div>
      <p class="help">{{ texts.view_keys }}</p>
    </div>`,
};
