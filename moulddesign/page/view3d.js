// The pastry and its mould in 3D: draws only when something has changed, and tells what is drawn.
import { THREE, OrbitControls } from "nicegui-scene";

const LIGHT = [-80, -60, 42]; // raking from the left front: relief casts its shape
const AXES = { x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] };
const STEP = Math.PI / 24;

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
      exploded: 0, axis: "", position: 50, transparent: false, without: false, picture: "", drawn: 0, stage: "",
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
      this.controls.addEventListener("change", () => this.requestDraw());
      this.plane = new THREE.Plane(new THREE.Vector3(0, 1, 0), 0);
      canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
      canvas.addEventListener("webglcontextrestored", () => this.requestDraw());
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
    requestDraw() {
      if (this.frame || !this.renderer) return;
      this.frame = requestAnimationFrame(() => this.draw());
    },
    draw() {
      cancelAnimationFrame(this.frame);
      this.frame = 0;
      this.update();
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
      const incoming = new Set(head.bodies.map((body) => body.name));
      const goes = (name, role) => incoming.has(name) || (head.stage === "mould") === (role === "part");
      this.clear(goes);
      head.bodies.forEach((body, place) => this.add(body, place));
      const kept = this.bodies.filter((body) => this.meshes.has(body.name) && !incoming.has(body.name));
      const made = head.bodies.map(({ name, role, colour, lift }) => ({
        name, role, colour, lift, shown: !hidden.has(name) && (role !== "part" || this.partsShown === true),
      }));
      this.bodies = [...made.filter((b) => b.role !== "part"), ...kept, ...made.filter((b) => b.role === "part")];
      this.serial = serial;
      this.reached = head.stage;
      this.stale = head.stage === "pastry" && this.bodies.some((body) => body.role === "part");
      this.waiting = false;
      if (!this.fitted) this.fit(true);
      this.requestDraw();
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
      // each body is counted and capped before the next one; the interior is capped last
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
    update() {
      const sectioned = this.axis !== "";
      if (sectioned) {
        const box = this.bounds();
        const normal = new THREE.Vector3(...AXES[this.axis]);
        const low = box.min.dot(normal), high = box.max.dot(normal);
        const at = low + ((high - low) * this.position) / 100;
        // what lies before the section, seen from the usual side, is removed
        const sign = this.axis === "y" ? 1 : -1;
        this.plane.set(normal.multiplyScalar(sign), -sign * at);
      }
      for (const body of this.bodies) {
        const group = this.meshes.get(body.name);
        if (!group) continue;
        const inside = body.role === "filling" || body.role === "centre";
        const pastry = this.bodies.find((other) => other.role === "pastry");
        group.visible = inside ? sectioned && pastry?.shown === true : body.shown;
        const lift = (body.lift * this.exploded) / 100;
        const faded = this.transparent && body.role === "part";
        for (const node of group.children) {
          if (node.userData.cap) {
            node.visible = sectioned;
            this.plane.coplanarPoint(node.position);
            node.lookAt(node.position.clone().sub(this.plane.normal));
          } else if (node.userData.counts) {
            node.visible = sectioned;
            node.position.z = lift;
          } else {
            node.position.z = lift;
            node.visible = !inside;
            node.material.transparent = faded;
            node.material.opacity = faded ? 0.28 : 1;
            node.material.depthWrite = !faded;
          }
          if (!node.userData.cap) node.material.clippingPlanes = sectioned ? [this.plane] : [];
        }
      }
    },
    bounds() {
      const box = new THREE.Box3();
      for (const body of this.bodies) {
        const group = this.meshes.get(body.name);
        if (!group || !body.shown) continue;
        const lift = (body.lift * this.exploded) / 100;
        box.union(group.userData.box.clone().translate(new THREE.Vector3(0, 0, lift)));
      }
      return box;
    },
    fit(reset) {
      const box = this.bounds();
      if (box.isEmpty()) return;
      if (reset) this.camera.position.copy(new THREE.Vector3(0, -0.72, 1)), this.controls.target.set(0, 0, 0);
      const way = this.camera.position.clone().sub(this.controls.target).normalize();
      const radius = box.getSize(new THREE.Vector3()).length() / 2;
      const half = (this.camera.fov * Math.PI) / 360;
      const narrow = Math.min(half, Math.atan(Math.tan(half) * this.camera.aspect));
      box.getCenter(this.controls.target);
      this.camera.position.copy(this.controls.target).addScaledVector(way, (1.02 * radius) / Math.sin(narrow));
      this.fitted = true;
      this.controls.update();
      this.requestDraw();
    },
    showParts(shown) {
      this.partsShown = shown;
      for (const body of this.bodies) body.shown = shown || body.role !== "part";
      this.fit();
    },
    setShown(body, event) {
      body.shown = event.target.checked;
      if (body.role === "part" && body.shown) this.partsShown = true;
      this.fit();
    },
    setExploded(event) {
      this.exploded = Number(event.target.value);
      this.fit();
    },
    setPosition(event) {
      this.position = Number(event.target.value);
      this.requestDraw();
    },
    setAxis(event) {
      this.axis = event.target.value;
      this.requestDraw();
    },
    setTransparent(event) {
      this.transparent = event.target.checked;
      this.requestDraw();
    },
    onKey(event) {
      const turns = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
      const zooms = { "+": 0.9, "=": 0.9, "-": 1.1 };
      if (event.key === "0") this.fit(true);
      else if (zooms[event.key]) this.zoom(zooms[event.key]);
      else if (turns[event.key]) this.rotate(...turns[event.key]);
      else return;
      event.preventDefault();
    },
    zoom(ratio) {
      const away = this.camera.position.clone().sub(this.controls.target).multiplyScalar(ratio);
      this.camera.position.copy(this.controls.target).add(away);
      this.controls.update();
      this.requestDraw();
    },
    rotate(right, down) {
      const away = new THREE.Spherical().setFromVector3(this.upright());
      away.theta += right * STEP;
      away.phi = Math.min(Math.max(away.phi + down * STEP, 0.05), Math.PI - 0.05);
      const turned = new THREE.Vector3().setFromSpherical(away);
      this.camera.position.copy(this.controls.target).add(new THREE.Vector3(turned.x, -turned.z, turned.y));
      this.controls.update();
      this.requestDraw();
    },
    upright() {
      const away = this.camera.position.clone().sub(this.controls.target);
      return new THREE.Vector3(away.x, away.z, -away.y);
    },
    showPicture(picture, serial) {
      this.picture = picture;
      this.waiting = false;
      this.drawn = serial;
    },
    nameOf(body) {
      const [first, ...rest] = body.name.split("-"); // a further stamp has its name behind
      return [this.names[first] ?? first, ...rest].join("-");
    },
  },
  template: `
    <div class="view" :data-drawn="drawn" :data-stage="stage">
      <div class="viewport" ref="stage">
        <canvas v-show="!without" ref="canvas" tabindex="0" role="img" :aria-label="texts.view_label" @keydown="onKey"></canvas>
        <img v-if="picture" :src="picture" :alt="texts.view_label" />
        <p v-if="without && !picture" class="overlay">{{ texts.no_webgl }}</p>
        <p v-if="waiting && !without" class="overlay">{{ texts.first_picture }}</p>
        <p v-if="stale" class="badge">{{ texts.parts_follow }}</p>
        <ul v-if="axis" class="legend" :aria-label="texts.section_colours">
          <li v-for="body in inner" :key="body.name"><span class="swatch" :class="body.role"></span>{{ body.role === 'pastry' ? texts.crust : nameOf(body) }}</li>
        </ul>
      </div>
      <div class="view-controls" v-if="!without">
        <fieldset class="bodies"><legend>{{ texts.bodies_shown }}</legend>
          <button type="button" :aria-pressed="!parts.some((b) => b.role === 'part' && b.shown)" @click="showParts(false)">{{ texts.pastry_only }}</button>
          <button type="button" :aria-pressed="parts.length > 1 && parts.every((b) => b.shown)" @click="showParts(true)">{{ texts.with_mould }}</button>
          <label v-for="body in parts" :key="body.name"><input type="checkbox" :checked="body.shown" @change="setShown(body, $event)" />
            <span class="swatch" :style="{ background: body.colour }"></span>{{ nameOf(body) }}</label>
        </fieldset>
        <label>{{ texts.exploded }} <input type="range" min="0" max="100" :value="exploded" @input="setExploded" /></label>
        <label>{{ texts.section }} <select :value="axis" @change="setAxis">
          <option value="">{{ texts.section_none }}</option><option value="y">{{ texts.section_front }}</option>
          <option value="x">{{ texts.section_side }}</option><option value="z">{{ texts.section_level }}</option></select></label>
        <label v-if="axis">{{ texts.section_position }} <input type="range" min="1" max="99" :value="position" @input="setPosition" /></label>
        <label class="checkbox"><input type="checkbox" :checked="transparent" @change="setTransparent" /> {{ texts.transparent }}</label>
        <button type="button" @click="fit(true)">{{ texts.reset_view }}</button>
      </div>
      <p class="help">{{ texts.view_help }}</p>
    </div>`,
};
