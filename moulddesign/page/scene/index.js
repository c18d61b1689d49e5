// Bodies on a board: reads what the server sends, draws when something has changed, turns within limits.
import { THREE } from "nicegui-scene";
import { bodyMaterial, flat, shadowMaterial } from "./materials.js";
export { Gestures } from "./gestures.js";
export { labels } from "./labels.js";
export * as relief from "./layers.js";
export * as carving from "./face.js";

const PLASTER = [0.91, 0.88, 0.83];
const START = { azimuth: -1.92, elevation: 0.8 };
const FACING_CUT = { azimuth: -Math.PI / 2, elevation: 0.17 };
const LOWEST = 0.06, HIGHEST = 1.5; // never from below, never so steep that up has no direction [rad]
const NEAREST = 4, FARTHEST = 0.5; // zoom
const CUT_SHADES = [0.8, 1, 0.9, 0.7];
const MARGIN = 1.03;
const SLOW_MS = 60, REST_MS = 160;
const CELLS = 90; // along a body, for what is drawn of it while something moves
const TURN_MS = 450;
const FRONT_MM = 0.02; // between faces of a cut that lie one before the other
const AS_MADE = { scale: 1, lift: 0, height: 1 };

// A body of another size: scaled from above, its top lifted, and what is below in proportion.
const lifted = (z, { lift, height }) => z + lift * Math.min(z / height, 1);
const resized = ([x, y, z], size) => [x * size.scale, y * size.scale, lifted(z, size)];

export async function unpacked(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  let at = 4 + length;
  for (const body of head.bodies) {
    const found = {};
    for (const [name, size] of Object.entries(body.arrays)) {
      found[name] = [at, size];
      at += size + (-size & 3);
    }
    const typed = (Kind, name) => found[name] && new Kind(buffer, found[name][0], found[name][1] / Kind.BYTES_PER_ELEMENT);
    for (const name of ["vertices", "cut", "core", "places"]) body[name] = typed(Float32Array, name);
    body.triangles = typed(Uint32Array, "triangles");
    body.normals = typed(Int8Array, "normals");
    const images = ["top", "walls", "board"].filter((name) => found[name]);
    await Promise.all(images.map(async (name) => (body[name] = await image(buffer, ...found[name]))));
  }
  return head;
}

// A body with fewer triangles: corners within one cell lie where its first one lies, each way a surface faces apart.
export function coarsened({ vertices, normals, triangles, low, high }) {
  const side = Math.max(...high.map((most, k) => most - low[k])) / CELLS;
  const count = vertices.length / 3, cells = new Float64Array(count), corner = new Uint32Array(count);
  const place = (row, k) => Math.round((vertices[3 * row + k] - low[k]) / side);
  const way = (row, k) => Math.round(normals[4 * row + k] / 85) + 1; // 0, 1 or 2
  const first = new Map(), corners = new Map(), made = { vertices: [], normals: [], triangles: [] };
  for (let row = 0; row < count; row++) {
    const cell = (cells[row] = (1024 * place(row, 0) + place(row, 1)) * 1024 + place(row, 2));
    if (!first.has(cell)) first.set(cell, row);
    const key = 27 * cell + 9 * way(row, 0) + 3 * way(row, 1) + way(row, 2);
    if (!corners.has(key)) {
      corners.set(key, corners.size);
      for (let k = 0; k < 3; k++) made.vertices.push(vertices[3 * first.get(cell) + k]);
      for (let k = 0; k < 4; k++) made.normals.push(normals[4 * row + k]);
    }
    corner[row] = corners.get(key);
  }
  for (let at = 0; at < triangles.length; at += 3) {
    const [a, b, c] = [triangles[at], triangles[at + 1], triangles[at + 2]];
    if (cells[a] !== cells[b] && cells[b] !== cells[c] && cells[c] !== cells[a]) made.triangles.push(corner[a], corner[b], corner[c]);
  }
  return { vertices: new Float32Array(made.vertices), normals: new Int8Array(made.normals), triangles: new Uint32Array(made.triangles) };
}

function geometryOf({ vertices, normals, triangles }) {
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", new THREE.BufferAttribute(vertices, 3));
  geometry.setAttribute("normal", new THREE.InterleavedBufferAttribute(new THREE.InterleavedBuffer(normals, 4), 3, 0, true));
  geometry.setIndex(new THREE.BufferAttribute(triangles, 1));
  geometry.computeBoundingSphere();
  return geometry;
}

const coarseOf = (made) => made.solid && (made.coarse ??= geometryOf(coarsened(made)));

function image(buffer, at, size) {
  const file = new Blob([new Uint8Array(buffer, at, size)], { type: "image/webp" });
  return createImageBitmap(file, { colorSpaceConversion: "none", premultiplyAlpha: "none" });
}

function texture(bitmap) {
  const made = new THREE.Texture(bitmap); // the lowest y comes first, as a texture has it
  made.flipY = false;
  made.minFilter = THREE.LinearFilter;
  made.generateMipmaps = false;
  made.needsUpdate = true;
  return made;
}

export class Scene {
  constructor(canvas, look, drawn) {
    this.canvas = canvas;
    this.look = look;
    this.drawn = drawn; // called after each drawing
    this.dark = matchMedia("(prefers-color-scheme: dark)").matches;
    this.bodies = new Map();
    this.view = "piece";
    this.only = ""; // the part that is shown alone
    Object.assign(this, START, { zoom: 1, away: 100, share: 1, tookMs: 0, kept: null });
    this.target = new THREE.Vector3();
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true });
    this.renderer.setClearColor(0, 0);
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(24, 1, 5, 4000);
    this.camera.up.set(0, 0, 1);
    canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => this.request());
  }

  dispose() {
    cancelAnimationFrame(this.frame);
    cancelAnimationFrame(this.turning);
    clearTimeout(this.rest);
    for (const name of [...this.bodies.keys()]) this.remove(name);
    this.renderer.dispose();
  }

  // bodies

  add(body) {
    this.remove(body.name);
    const made = { ...body, group: new THREE.Group(), caps: new THREE.Group(), textures: [], size: AS_MADE };
    this.scene.add(made.group, made.caps);
    this.bodies.set(body.name, made);
    if (body.vertices) this.addSolid(made);
    this.addCaps(made);
    if (body.places) this.setLight(body);
    this.arrange();
  }

  addSolid(made) {
    made.whole = geometryOf(made);
    const look = { dough: made.role === "pastry", tint: PLASTER, dim: this.dark ? (made.role === "pastry" ? 0.93 : 0.72) : 1 };
    made.solid = new THREE.Mesh(made.whole, bodyMaterial(this.look, look));
    made.shadow = new THREE.Mesh(new THREE.PlaneGeometry(1, 1), shadowMaterial(this.dark));
    made.shadow.renderOrder = -1;
    made.group.add(made.solid);
    this.scene.add(made.shadow);
  }

  addCaps(made, size = AS_MADE) {
    const layer = { part: 0, pastry: 1, filling: 3, centre: 4 }[made.role];
    // neighbours have another shade, so that one sees where a part ends
    const shade = CUT_SHADES[[...this.bodies.values()].filter((one) => one.role === "part").indexOf(made) % CUT_SHADES.length];
    const tint = made.role === "part" ? `rgb(${PLASTER.map((share) => Math.round(255 * share * shade * (this.dark ? 0.72 : 1))).join()})` : "";
    const cuts = { part: [["cut", tint]], pastry: [["cut", this.look.cut.rind], ["core", this.look.cut.pastry]] };
    const wanted = cuts[made.role] ?? [["cut", this.look.cut[made.role]]];
    wanted.forEach(([name, colour], place) => {
      const flatCorners = made[name];
      if (!flatCorners?.length) return;
      const y = (made.at ?? 0) - FRONT_MM * (layer + place + 1);
      const corners = new Float32Array((flatCorners.length / 2) * 3);
      for (let i = 0, j = 0; i < flatCorners.length; i += 2, j += 3) corners.set([flatCorners[i] * size.scale, y, lifted(flatCorners[i + 1], size)], j);
      const geometry = new THREE.BufferGeometry();
      geometry.setAttribute("position", new THREE.BufferAttribute(corners, 3));
      made.caps.add(new THREE.Mesh(geometry, flat(colour)));
    });
  }

  // Cuts bodies elsewhere: their new faces, and the plane of each.
  cutAt(at, faces) {
    for (const face of faces) {
      const made = this.bodies.get(face.name);
      if (!made) continue;
      this.removeCaps(made);
      Object.assign(made, { cut: face.cut, core: face.core, at });
      if (made.solid) made.solid.material.uniforms.uCutAt.value = at;
      this.addCaps(made);
    }
    this.request();
  }

  removeCaps(made) {
    for (const cap of made.caps.children) { cap.geometry.dispose(); cap.material.dispose(); }
    made.caps.clear();
  }

  // Draws the piece in another size than it was made in.
  resizePiece(size) {
    for (const made of this.bodies.values()) {
      if (made.role === "part") continue;
      made.size = size;
      this.removeCaps(made);
      this.addCaps(made, size);
      if (made.solid) made.solid.material.uniforms.uResized.value.set(size.scale, size.lift, size.height);
    }
    this.arrange();
  }

  // A body's corners as it is drawn, the lowest and the highest.
  corners({ low, high, size }) {
    return [resized(low, size), resized(high, size)];
  }

  // Width, depth and height of a body as it is drawn [mm].
  sizeOf(name) {
    const made = this.bodies.get(name);
    if (!made) return "";
    const [low, high] = this.corners(made);
    return high.map((most, k) => (most - low[k]).toFixed(2)).join(" ");
  }

  setLight(light) {
    const made = this.bodies.get(light.name);
    if (!made?.solid) return;
    made.textures.forEach((one) => one.dispose());
    const [top, walls, board] = (made.textures = [light.top, light.walls, light.board].map(texture));
    const [x, y, side, pixel, boardX, boardY, boardSide, span, ground, relief] = light.places;
    const uniforms = made.solid.material.uniforms;
    uniforms.uTop.value = top;
    uniforms.uWalls.value = walls;
    uniforms.uMap.value.set(x, y, side, pixel);
    uniforms.uLow.value = made.low[2];
    Object.assign(uniforms.uSpan, { value: span });
    uniforms.uFlat.value = ground;
    uniforms.uRelief.value = relief;
    made.shadow.material.uniforms.uBoard.value = board;
    made.board = [boardX + boardSide / 2, boardY + boardSide / 2, boardSide];
    this.arrange();
  }

  remove(name) {
    const made = this.bodies.get(name);
    if (!made) return;
    const meshes = [made.solid, made.shadow, ...made.caps.children].filter(Boolean);
    for (const mesh of meshes) { mesh.geometry.dispose(); mesh.material.dispose(); }
    for (const one of [made.whole, made.coarse]) one?.dispose();
    made.textures.forEach((one) => one.dispose());
    this.scene.remove(made.group, made.caps, made.shadow);
    this.bodies.delete(name);
  }

  // views

  show(view) {
    if (view === this.view) return;
    if (this.view === "piece") this.kept = { azimuth: this.azimuth, elevation: this.elevation };
    this.view = view;
    this.zoom = 1;
    this.arrange();
    const cut = view === "cut" || view === "open";
    const way = cut ? FACING_CUT : view === "parts" ? { azimuth: -1.5, elevation: 0.62 } : this.kept ?? START;
    this.turnTo(way);
  }

  arrange() {
    const cut = this.view === "cut" || this.view === "open";
    const withParts = this.view === "parts" || this.view === "open";
    for (const made of this.bodies.values()) {
      const part = made.role === "part", apart = part && this.view === "parts";
      const alone = this.only && this.view === "parts" && this.bodies.has(this.only);
      const shown = alone ? made.name === this.only : part ? withParts && !(this.view === "open" && made.further) : true;
      made.caps.visible = shown && cut;
      if (!made.solid) continue;
      made.group.visible = shown;
      const group = made.group;
      group.rotation.x = part && made.turned && !apart ? Math.PI : 0;
      group.position.set(...(apart ? made.laid : [0, 0, 0]));
      const uniforms = made.solid.material.uniforms;
      uniforms.uCut.value = cut ? 1 : 0;
      uniforms.uLaid.value = part && !apart ? 0 : 1;
      made.shadow.visible = Boolean(made.board) && shown && (apart || (!part && this.view !== "open"));
      const floor = apart ? 0 : made.low[2];
      if (!made.board) continue;
      const [x, y, side] = made.board.map((one) => one * made.size.scale);
      made.shadow.scale.set(side, side, 1);
      made.shadow.position.set(group.position.x + x, group.position.y + y, floor);
    }
    this.request();
  }

  // How far what is shown reaches to the front and back [mm].
  get deep() {
    const { min, max } = this.bounds();
    return [min.y, max.y];
  }

  showOnly(name) {
    this.only = name;
    this.arrange();
    this.turnTo(this);
  }

  bounds() {
    const box = new THREE.Box3();
    for (const made of this.bodies.values()) {
      if (!made.solid || !made.group.visible) continue;
      const own = new THREE.Box3(...this.corners(made).map((one) => new THREE.Vector3(...one)));
      made.group.updateMatrix();
      box.union(own.applyMatrix4(made.group.matrix));
    }
    return box;
  }

  // camera

  fitted(azimuth, elevation) {
    const box = this.bounds();
    if (box.isEmpty()) return null;
    const target = box.getCenter(new THREE.Vector3());
    const eye = new THREE.Vector3(Math.cos(elevation) * Math.cos(azimuth), Math.cos(elevation) * Math.sin(azimuth), Math.sin(elevation));
    const right = new THREE.Vector3(0, 0, 1).cross(eye).normalize(), up = eye.clone().cross(right);
    const tall = Math.tan((this.camera.fov * Math.PI) / 360);
    const [left, below] = this.view === "cut" ? [0.62, 0.68] : [1, 1]; // free for the sizes beside a cut
    let away = 10;
    for (let corner = 0; corner < 8; corner++) {
      const at = new THREE.Vector3(...["x", "y", "z"].map((axis, k) => box[corner & (1 << k) ? "max" : "min"][axis])).sub(target);
      const near = at.dot(eye);
      away = Math.max(away, Math.abs(at.dot(right)) / (tall * this.camera.aspect * left) + near, Math.abs(at.dot(up)) / (tall * below) + near);
    }
    return { target, away: MARGIN * away };
  }

  fit() {
    Object.assign(this, this.fitted(this.azimuth, this.elevation) ?? {});
    this.request();
  }

  reset() {
    this.zoom = 1;
    const cut = this.view === "cut" || this.view === "open";
    this.turnTo(cut ? FACING_CUT : this.view === "parts" ? { azimuth: -1.5, elevation: 0.62 } : START);
  }

  turnTo({ azimuth, elevation }) {
    cancelAnimationFrame(this.turning);
    const end = { azimuth, elevation, ...(this.fitted(azimuth, elevation) ?? { target: this.target, away: this.away }) };
    const from = { azimuth: this.azimuth, elevation: this.elevation, target: this.target.clone(), away: this.away };
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches, start = performance.now();
    const step = (now) => {
      const part = still ? 1 : Math.min(Math.max(now - start, 0) / TURN_MS, 1), ease = part * part * (3 - 2 * part);
      for (const key of ["azimuth", "elevation", "away"]) this[key] = from[key] + (end[key] - from[key]) * ease;
      this.target.lerpVectors(from.target, end.target, ease);
      this.moved();
      if (part < 1) this.turning = requestAnimationFrame(step);
    };
    this.turning = requestAnimationFrame(step);
  }

  turn(right, up) {
    cancelAnimationFrame(this.turning);
    this.azimuth -= right;
    this.elevation = Math.min(Math.max(this.elevation + up, LOWEST), HIGHEST);
    this.moved();
  }

  zoomBy(ratio) {
    this.zoom = Math.min(Math.max(this.zoom * ratio, FARTHEST), NEAREST);
    this.moved();
  }

  resize(width, height) {
    this.renderer.setPixelRatio(this.ratio);
    this.renderer.setSize(width, height, false);
    this.camera.aspect = width / height;
    this.camera.updateProjectionMatrix();
    this.fit();
    this.moved();
    this.draw(); // at once: the new size has emptied the canvas, and a blank frame would flash
  }

  place() {
    const { azimuth, elevation, away, zoom } = this;
    const level = Math.cos(elevation);
    this.camera.position.set(level * Math.cos(azimuth), level * Math.sin(azimuth), Math.sin(elevation));
    this.camera.position.multiplyScalar(away / zoom).add(this.target);
    this.camera.lookAt(this.target);
    this.camera.updateMatrixWorld();
  }

  // How one looks: degrees around, degrees up, zoom.
  get way() {
    const degrees = (angle) => Math.round((angle * 180) / Math.PI);
    return `${degrees(this.azimuth)} ${degrees(this.elevation)} ${this.zoom.toFixed(2)}`;
  }

  // Where a point is on the canvas, in CSS pixels.
  project(x, y, z) {
    const { clientWidth, clientHeight } = this.canvas;
    const seen = new THREE.Vector3(x, y, z).project(this.camera);
    return [((seen.x + 1) / 2) * clientWidth, ((1 - seen.y) / 2) * clientHeight];
  }

  // A body's middle on the canvas and how far it reaches from there, in CSS pixels; null where there is none.
  around(name) {
    const made = this.bodies.get(name);
    if (!made?.solid || !made.group.visible) return null;
    made.group.updateMatrixWorld();
    const ends = this.corners(made);
    const corners = Array.from({ length: 8 }, (_, corner) => {
      const at = new THREE.Vector3(...[0, 1, 2].map((k) => ends[corner & (1 << k) ? 1 : 0][k]));
      return this.project(...at.applyMatrix4(made.group.matrixWorld).toArray());
    });
    const [x, y] = [0, 1].map((k) => (Math.min(...corners.map((one) => one[k])) + Math.max(...corners.map((one) => one[k]))) / 2);
    return [x, y, Math.max(...corners.map((one) => Math.hypot(one[0] - x, one[1] - y)))];
  }

  // Where a point of the canvas lies on the level plane at a height [mm].
  onLevel(left, top, z) {
    const { clientWidth, clientHeight } = this.canvas;
    const ray = new THREE.Raycaster();
    ray.setFromCamera(new THREE.Vector2((left / clientWidth) * 2 - 1, 1 - (top / clientHeight) * 2), this.camera);
    const { origin, direction } = ray.ray;
    return ray.ray.at((z - origin.z) / direction.z, new THREE.Vector3());
  }

  // drawing

  get ratio() {
    return Math.min(window.devicePixelRatio, 2) * this.share;
  }

  // Slow machines draw fewer pixels and triangles while something moves, and all of them once it rests.
  moved() {
    this.moving = true;
    clearTimeout(this.rest);
    // not between two frames: the whole picture would hold up the next one
    this.rest = setTimeout(() => {
      this.moving = false;
      this.request();
    }, Math.max(REST_MS, 2 * this.tookMs));
    this.request();
  }

  request() {
    this.frame ||= requestAnimationFrame(() => this.draw());
  }

  draw() {
    cancelAnimationFrame(this.frame);
    this.frame = 0;
    const share = this.moving ? this.movingShare : 1;
    if (share !== this.share) {
      this.share = share;
      this.renderer.setPixelRatio(this.ratio);
    }
    for (const made of this.bodies.values()) {
      if (made.solid) made.solid.geometry = share < 1 ? coarseOf(made) : made.whole;
    }
    this.place();
    const start = performance.now();
    this.renderer.render(this.scene, this.camera);
    if (!this.moving) this.measure(start);
    this.drawn();
    if (this.movingShare < 1) setTimeout(() => this.bodies.forEach(coarseOf)); // before they move
  }

  // A whole picture is measured, for which its pixels have to be waited for: nothing else moves meanwhile.
  measure(start) {
    const gl = this.renderer.getContext();
    gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
    this.tookMs = performance.now() - start;
  }

  get movingShare() {
    return this.tookMs > 2 * SLOW_MS ? 0.34 : this.tookMs > SLOW_MS ? 0.5 : 1;
  }
}
