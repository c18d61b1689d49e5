// What of a carved face was tapped: a map of its entries, read and drawn on the piece.
const NOTHING = 255;

const bytes = (text) => Uint8Array.from(atob(text), (one) => one.charCodeAt(0));

// The face as the server sends it, its maps unpacked.
export const opened = (sent) => ({ ...sent, map: bytes(sent.map), heights: bytes(sent.heights) });

const height = (face, cell) => (face.heights[cell] / 255) * face.span;

function cellAt(face, { x, y }) {
  const [column, row] = [x - face.corner[0], y - face.corner[1]].map((way) => Math.floor(way / face.pixel));
  const inside = [column, row].every((one) => one >= 0 && one < face.side);
  return inside ? row * face.side + column : -1;
}

// The place of the entry at a point of the canvas among the face's entries; null where there is none.
export function entryAt(face, scene, left, top, level) {
  let z = level, cell = -1;
  for (let round = 0; round < 6; round++) { // what stands higher is met nearer to the eye
    cell = cellAt(face, scene.onLevel(left, top, z));
    if (cell < 0) return null;
    z = height(face, cell);
  }
  return face.map[cell] === NOTHING ? null : face.map[cell];
}

// An entry's area on the canvas as an SVG path: a strip for each run of pixels.
export function area(face, scene, entry) {
  const made = [];
  for (let row = 0; row < face.side; row++) {
    for (let column = 0; column < face.side; column++) {
      const first = row * face.side + column;
      if (face.map[first] !== entry) continue;
      while (column + 1 < face.side && face.map[row * face.side + column + 1] === entry) column += 1;
      const last = row * face.side + column, [x, y] = face.corner, { pixel, side } = face;
      const corners = [[first % side, 0, first], [last % side + 1, 0, last], [last % side + 1, 1, last], [first % side, 1, first]];
      const points = corners.map(([right, up, cell]) => scene.project(x + right * pixel, y + (row + up) * pixel, height(face, cell)));
      made.push(`M${points.map((point) => point.map((one) => one.toFixed(1)).join(",")).join("L")}Z`);
    }
  }
  return made.join("");
}
