// Sizes written beside a cut piece, on leader lines, as SVG.
const BESIDE_PX = 240; // what sizes take beside a cut
const ROW_PX = 40;
const ZOOMS_PX = 64; // what the buttons at the right take of a narrow picture

const escaped = (text) => String(text).replace(/[&<>"]/g, (one) => `&#${one.charCodeAt(0)};`);

function text(x, y, words, anchor, kind = "") {
  return `<text class="size ${kind}" x="${x.toFixed(1)}" y="${(y + 5).toFixed(1)}" text-anchor="${anchor}">${escaped(words)}</text>`;
}

function line(...points) {
  return `<path class="size-line" d="M${points.map((point) => point.map((one) => one.toFixed(1)).join(",")).join("L")}"/>`;
}

function leader(from, to, words, anchor, kind) {
  const gap = { start: 6, end: -6, middle: 0 }[anchor];
  const [x, y] = to;
  const below = y > from[1] ? -12 : 10;
  const ring = kind === "marked" ? `<circle class="mark" cx="${from[0].toFixed(1)}" cy="${from[1].toFixed(1)}" r="14"/>` : "";
  const dot = `${ring}<circle class="size-dot" cx="${from[0].toFixed(1)}" cy="${from[1].toFixed(1)}" r="3"/>`;
  return dot + line(from, anchor === "middle" ? [x, y + below] : to) + text(x + gap, y, words, anchor, kind);
}

// Above a narrow picture, in two lines where it has a colon.
function above(from, [x, y], words) {
  const lines = words.split(/(?<=[:\uff1a])\s*/);
  const first = lines.slice(0, -1).map((one) => text(x, y - 20, one, "middle", "thin"));
  return first.join("") + leader(from, [x, y], lines.at(-1), "middle", "thin");
}

// The words for each inner part, in their order, with the point [x, z] that they belong to.
function inner(sizes, say, filled) {
  const made = [];
  const half = sizes.width / 2;
  if (sizes.crust !== null) {
    made.push({ what: "crust", at: [half - sizes.crust / 2, sizes.height * 0.72], words: say("cut_crust", { value: sizes.crust }) });
  }
  const thin = sizes.paste !== null && sizes.paste < sizes.thin_paste;
  const seen = sizes.centres.filter(({ at, across }) => Math.abs(at[1]) < across / 2);
  const right = seen.reduce((best, one) => (!best || one.at[0] > best.at[0] ? one : best), null);
  if (right) {
    const words = say("cut_centre", { name: right.name, value: right.across });
    made.push({ what: "centre", at: [right.at[0] + right.across / 5, right.at[2]], words });
  }
  if (filled) {
    const across = (half - sizes.crust) * 0.8, up = sizes.crust + sizes.filling * 0.16;
    made.push({ at: [across, up], narrow: [-across, up], words: say("cut_filling", { value: sizes.filling }) });
  }
  if (thin) {
    const top = right ?? sizes.centres[0];
    const words = say("cut_thin_paste", { value: Math.max(sizes.paste, 0), least: sizes.thin_paste });
    made.push({ at: [top.at[0], top.at[2] + top.across / 2], words, kind: "thin", thin });
  }
  return made;
}

// `marked` is what of them is pointed out: crust or centre.
export function labels(scene, sizes, say, marked) {
  const { clientWidth: width, clientHeight: height } = scene.canvas;
  const at = (x, z) => scene.project(x, -0.1, z);
  const half = sizes.width / 2;
  const [left, bottom] = at(-half, 0), [right] = at(half, 0), [, top] = at(0, sizes.height);
  const notes = inner(sizes, say, sizes.filling !== null).map((note) => (marked && note.what === marked ? { ...note, kind: "marked" } : note));
  const middle = (top + bottom) / 2;
  const beside = notes.filter((note) => note.kind !== "thin"), thin = notes.find((note) => note.kind === "thin");
  let made = "";
  if (width - right < BESIDE_PX) {
    // below, each at the end of an upright line, the leftmost first
    const points = beside.map((note) => ({ note, from: at(...(note.narrow ?? note.at)) })).sort((a, b) => a.from[0] - b.from[0]);
    const anchors = points.length > 1 ? ["start", ...Array(points.length - 2).fill("middle"), "end"] : ["middle"];
    const order = { start: 0, end: 1, middle: 2 };
    const rows = points.map(({ note, from }, place) => {
      const y = bottom + 20 + 22 * order[anchors[place]];
      return leader(from, [from[0], y], note.words, anchors[place], note.kind);
    });
    made += rows.join("").replace(/<text.*?<\/text>/g, "") + rows.join("").match(/<text.*?<\/text>/g).join(""); // no line over a text
    if (thin) made += above(at(...thin.at), [(width - ZOOMS_PX) / 2, Math.max(top - 46, 90)], thin.words);
    return made;
  }
  beside.forEach((note, row) => {
    made += leader(at(...note.at), [right + 34, middle + ROW_PX * (row - (beside.length - 1) / 2)], note.words, "start", note.kind);
  });
  if (thin) made += leader(at(...thin.at), [right + 34, Math.max(top - 26, 70)], thin.words, "start", "thin");
  const low = bottom + 18, aside = left - 20;
  made += line([left, low], [right, low]) + line([left, low - 5], [left, low + 5]) + line([right, low - 5], [right, low + 5]);
  made += text((left + right) / 2, low + 20, say("cut_wide", { value: sizes.width }), "middle");
  made += line([aside, top], [aside, bottom]) + line([aside - 5, top], [aside + 5, top]) + line([aside - 5, bottom], [aside + 5, bottom]);
  made += text(aside - 10, middle, say("cut_high", { value: sizes.height }), "end");
  return made;
}
