// How surfaces look: the shading of the pictures that the program draws, as shaders.
import { THREE } from "nicegui-scene";

const number = (value) => (Number.isInteger(value) ? `${value}.0` : String(value));
const vec3 = (values) => `vec3(${values.map(number).join(", ")})`;
const unit = (values) => values.map((one) => one / Math.hypot(...values));
const linear = (rgb, gamma) => rgb.map((share) => share ** gamma);

const VERTEX = `
  varying vec3 vPlace; varying vec3 vNormal; varying vec3 vWorld; varying vec3 vFacing;
  uniform vec3 uResized; // scale from above, lift of the top, height before [mm]
  void main() {
    vPlace = position; vNormal = normal; // light holds as it was baked
    vec3 place = vec3(uResized.x * position.xy, position.z + uResized.y * min(position.z / uResized.z, 1.0));
    vec4 world = modelMatrix * vec4(place, 1.0);
    vWorld = world.xyz; vFacing = mat3(modelMatrix) * normal;
    gl_Position = projectionMatrix * viewMatrix * world;
  }`;

function ramp(look) {
  const colours = look.ramp.map(([, rgb]) => vec3(linear(rgb, look.gamma)));
  const steps = look.ramp.slice(1).map(([level], k) => {
    const [before] = look.ramp[k];
    return `base = mix(base, ${colours[k + 1]}, clamp((brown - ${number(before)}) / ${number(level - before)}, 0.0, 1.0));`;
  });
  return `vec3 dough(float brown) { vec3 base = ${colours[0]}; ${steps.join(" ")} return base; }`;
}

function surface(look) {
  return `
  precision highp float;
  varying vec3 vPlace; varying vec3 vNormal; varying vec3 vWorld; varying vec3 vFacing;
  uniform sampler2D uTop, uWalls;
  uniform vec4 uMap; // corner x, y, side, pixel [mm]
  uniform float uLow, uSpan, uFlat, uRelief, uCut, uCutAt, uLaid, uDim;
  uniform vec3 uTint;
  const vec3 LAMP = ${vec3(unit(look.lamp))}, FILL = ${vec3(unit(look.fill))};
  ${ramp(look)}
  vec2 at(vec2 place) { return (place - uMap.xy) / uMap.z; }
  void main() {
    if (uCut > 0.5 && vWorld.y < uCutAt) discard;
    vec3 n = normalize(vNormal), facing = normalize(vFacing);
    float height = vPlace.z - uLow, pixel = uMap.w;
    vec3 top = texture2D(uTop, at(vPlace.xy)).rgb;
    float brown = top.r, sky = top.g, lamp = top.b;
    if (n.z < ${number(look.steep)}) {
      vec2 before = at(vPlace.xy + 1.3 * pixel * n.xy);
      vec3 light = texture2D(uTop, before).rgb;
      vec3 walls = uSpan * texture2D(uWalls, before).rgb; // ground, ceiling, tops
      float up = clamp((height - walls.r) / max(walls.b - walls.r, 0.1), 0.0, 1.0);
      sky = (light.g + (1.0 - light.g) * up) * (1.0 + 0.6 * min(n.z, 0.0));
      float away = max(walls.b - walls.g, 0.0) * ${number(Math.hypot(look.lamp[0], look.lamp[1]) / look.lamp[2])};
      float penumbra = ${number(look.penumbra)} * away + ${number(look.leastPenumbra)};
      float above = clamp((height - walls.g) / penumbra + 0.5, 0.0, 1.0);
      lamp = mix(light.b, above, clamp((height - walls.r) / 0.5, 0.0, 1.0));
      #ifdef DOUGH
        brown = texture2D(uTop, at(vPlace.xy - 0.4 * n.xy)).r;
        float inner = uSpan * texture2D(uWalls, at(vPlace.xy - n.xy)).r;
        float share = height / max(uFlat, 0.001);
        float side = 0.42 + 0.22 * smoothstep(0.74, 1.0, share) + 0.16 * smoothstep(0.84, 1.0, 1.0 - share);
        float deep = 1.1 * uRelief + 0.3;
        brown = mix(brown, side, smoothstep(0.4 * deep, deep + 3.0, inner - height));
      #endif
    }
    // A map holds as a body is laid out: turned over or put together, it says nothing.
    sky = mix(0.72 + 0.2 * facing.z, clamp(sky, 0.0, 1.0), uLaid);
    lamp = mix(0.55, lamp, uLaid);
    vec3 eye = normalize(cameraPosition - vWorld);
    vec3 direct = 2.0 * max(dot(facing, LAMP), 0.0) * lamp * ${vec3(look.lampColour)};
    vec3 even = 0.52 * (0.6 + 0.4 * facing.z) * ${vec3(look.skyColour)}
      + 0.72 * max(dot(facing, FILL), 0.0) * ${vec3(look.fillColour)};
    #ifdef DOUGH
      vec3 light = direct + pow(vec3(max(sky, 0.001)), ${vec3(look.warm)}) * even;
      float sheen = 0.30 * lamp * pow(max(dot(facing, normalize(LAMP + eye)), 0.0), 26.0)
        + 0.16 * pow(max(dot(facing, normalize(FILL + eye)), 0.0), 18.0);
      vec3 colour = dough(brown) * light + 0.55 * sheen * sky * ${vec3(look.sheen)};
    #else
      vec3 light = direct + 1.15 * pow(vec3(max(sky, 0.001)), ${vec3(look.plasterWarm)}) * even;
      vec3 colour = uTint * light;
    #endif
    colour *= 0.92 * uDim;
    colour *= (1.0 + colour / 5.5) / (1.0 + 0.75 * colour);
    gl_FragColor = vec4(clamp(pow(colour, vec3(${number(1 / look.gamma)})), 0.0, 1.0), 1.0);
  }`;
}

const SHADOW = `
  precision highp float;
  varying vec2 vAt; uniform sampler2D uBoard; uniform vec3 uInk; uniform float uDeep;
  void main() { float a = clamp(uDeep * texture2D(uBoard, vAt).r, 0.0, 1.0); gl_FragColor = vec4(a * uInk, a); }`;
const SHADOW_VERTEX = `
  varying vec2 vAt;
  void main() { vAt = uv; gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }`;

export const flat = (colour) => new THREE.MeshBasicMaterial({ color: colour, side: THREE.DoubleSide, toneMapped: false });

export function bodyMaterial(look, { dough, tint, dim }) {
  const uniforms = {
    uTop: { value: null }, uWalls: { value: null }, uMap: { value: new THREE.Vector4() }, uLow: { value: 0 },
    uSpan: { value: 1 }, uFlat: { value: 1 }, uRelief: { value: 0 }, uCut: { value: 0 }, uCutAt: { value: 0 }, uLaid: { value: 1 },
    uDim: { value: dim }, uResized: { value: new THREE.Vector3(1, 0, 1) }, uTint: { value: new THREE.Vector3(...linear(tint, look.gamma)) },
  };
  return new THREE.ShaderMaterial({
    vertexShader: VERTEX, fragmentShader: surface(look), uniforms, defines: dough ? { DOUGH: "" } : {},
  });
}

export function shadowMaterial(dark) {
  // In the dark a brown shadow would be lighter than the board.
  const ink = dark ? [0.035, 0.022, 0.012] : [0.212, 0.141, 0.078];
  return new THREE.ShaderMaterial({
    vertexShader: SHADOW_VERTEX, fragmentShader: SHADOW, transparent: true, depthWrite: false, premultipliedAlpha: true,
    uniforms: { uBoard: { value: null }, uInk: { value: new THREE.Vector3(...ink) }, uDeep: { value: dark ? 1.25 : 1 } },
  });
}
