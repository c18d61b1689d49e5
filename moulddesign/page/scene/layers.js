// A layer of the relief as it is moved on the top: its outline, where it snaps, and what is wrong with it.
const SNAP_MM = 1.1, TURN_SNAP_DEG = 3, TURN_STEP_DEG = 15;
export const LEAST_MM = 2, MOST_MM = 400;

// Where a point of the layer as it was sent lies once the layer is moved, turned and scaled.
export function placed(layer) {
  const { start } = layer;
  const scale = layer.size / start.size, angle = ((layer.turn - start.turn) * Math.PI) / 180;
  const cos = scale * Math.cos(angle), sin = scale * Math.sin(angle);
  return ([x, y]) => {
    const right = x - start.x, up = y - start.y;
    return [layer.x + cos * right - sin * up, layer.y + sin * right + cos * up];
  };
}

const rings = (layer) => layer.rings.map((ring) => ring.map(placed(layer)));

function within([x, y], loops) {
  let inside = false;
  for (const loop of loops) {
    for (let i = 0, j = loop.length - 1; i < loop.length; j = i++) {
      const [ax, ay] = loop[i], [bx, by] = loop[j];
      if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
    }
  }
  return inside;
}

// The key of what is wrong with a layer where it lies, or an empty string.
export function trouble(layer, layers, rim) {
  const own = rings(layer), points = own.flat();
  if (!points.every((point) => within(point, [rim]))) return "layer_past_rim";
  const others = layers.filter((other) => other !== layer).map((other) => [other, rings(other)]);
  const later = others.filter(([other]) => other.place > layer.place).flatMap(([, loops]) => loops);
  if (later.length && points.every((point) => within(point, later))) return "layer_hidden";
  const meets = others.some(([, loops]) => points.some((point) => within(point, loops)) || loops.flat().some((point) => within(point, own)));
  return meets ? "layer_collides" : "";
}

export function snapped(x, y) {
  if (Math.hypot(x, y) < 1.3 * SNAP_MM) return { x: 0, y: 0, snap: "layer_centred" };
  if (Math.abs(x) < SNAP_MM) return { x: 0, y, snap: "layer_on_axis" };
  if (Math.abs(y) < SNAP_MM) return { x, y: 0, snap: "layer_on_axis" };
  return { x, y, snap: "" };
}

export function snappedTurn(degrees) {
  const near = Math.round(degrees / TURN_STEP_DEG) * TURN_STEP_DEG;
  return Math.abs(degrees - near) < TURN_SNAP_DEG ? near : degrees;
}

export const rounded = (layer) => {
  const turn = ((Math.round(layer.turn) % 360) + 360) % 360;
  Object.assign(layer, { x: Math.round(layer.x * 10) / 10, y: Math.round(layer.y * 10) / 10, turn });
  layer.size = Math.round(Math.min(Math.max(layer.size, LEAST_MM), MOST_MM) * 10) / 10;
};

// The layer that was tapped: the smallest one around the point.
export function tapped(point, layers) {
  const around = layers.filter((layer) => Math.hypot(point.x - layer.x, point.y - layer.y) < reach(layer));
  return around.sort((one, other) => reach(one) - reach(other))[0] ?? null;
}

export const reach = (layer) => (layer.reach * layer.size) / layer.start.size;

const path = (points) => `M${points.map((point) => point.map((one) => one.toFixed(1)).join(",")).join("L")}Z`;

// Outline, ring and knobs of a layer on the canvas, in CSS pixels.
export function handles(scene, layer, z) {
  const at = (point) => scene.project(point[0], point[1], z);
  const far = reach(layer) + 0.6, angle = (layer.turn * Math.PI) / 180;
  const around = (turn) => [layer.x + far * Math.cos(turn), layer.y + far * Math.sin(turn)];
  const circle = Array.from({ length: 56 }, (_, step) => at(around((step / 56) * 2 * Math.PI)));
  return {
    outline: rings(layer).map((ring) => path(ring.map(at))).join(""),
    ring: path(circle),
    turn: at(around(angle + Math.PI / 2)),
    scale: at(around(angle - Math.PI / 4)),
    tip: [at([layer.x, layer.y])[0], Math.max(Math.min(...circle.map(([, y]) => y)) - 24, 84)],
  };
}
