// The picture of the part in the bath: air and pools painted on the sheet where they lie, their free surfaces level.

import * as THREE from "three";
import { css } from "../dom.js";
import { fixed, quantity } from "../words.js";
import { BathView, cross, unit } from "./bath_view.js";
import { Mesh } from "./geometry.js";
import { table } from "./lut.js";
import { millilitres } from "./millilitres.js";
import { Picture } from "./picture.js";
import { engraved, thin } from "./shade.js";

const SCALE = "vik"; // liquid and air are the two sides of one scale whose ends no kind of colour blindness mixes up
const SHARES = { air: 0.8, pool: 0.2 };
const ROUND = 96;
const NAMED = 6; // flags in the picture; the table has them all

const VERTEX = /* glsl */ `
  attribute float level;
  varying float vOver;
  varying vec3 vNormal;
  uniform vec3 vertical;
  uniform float sense;
  void main() {
    vOver = sense * (dot(position, vertical) - level);
    vNormal = normalMatrix * normal;
    gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
  }
`;

const FRAGMENT = /* glsl */ `
  uniform vec3 colour;
  varying float vOver;
  varying vec3 vNormal;
  void main() {
    if (vOver > 0.0) discard;
    vec3 n = normalize(vNormal);
    if (!gl_FrontFacing) n = -n;
    float light = 0.72 + 0.20 * (0.5 + 0.5 * n.y) + 0.16 * max(dot(n, normalize(vec3(-0.45, 0.60, 0.66))), 0.0);
    gl_FragColor = vec4(colour * light, 1.0);
    #include <colorspace_fragment>
  }
`;

/** What a pocket's sheet is painted with: only on the side that it touches, and only up to its free surface. */
const paint = (colour, side, sense) =>
  new THREE.ShaderMaterial({
    vertexShader: VERTEX,
    fragmentShader: FRAGMENT,
    side,
    uniforms: { colour: { value: colour }, vertical: { value: new THREE.Vector3(0, 0, 1) }, sense: { value: sense } },
  });

/** A level surface that one looks through. */
const level = (colour, opacity) => new THREE.MeshBasicMaterial({ color: colour, side: THREE.DoubleSide, transparent: true, opacity, depthWrite: false });

/** The colours of air and pool, decoded for the card. */
async function bathColours() {
  const rows = await table(SCALE);
  const of = (share) => new THREE.Color().setRGB(...rows[Math.round(share * (rows.length - 1))].map((v) => v / 255), THREE.SRGBColorSpace);
  return Object.fromEntries(Object.entries(SHARES).map(([kind, at]) => [kind, of(at)]));
}

export class Bath extends Picture {
  constructor(options) {
    super({ ...options, panes: options.panes.map((p) => ({ ...p, view: new BathView(), arrow: false })) });
    this.cutSelect.parentNode.hidden = true; // a cut would stand askew in the bath
    this.root.querySelector(".views").hidden = true;
    this.moment = { way: "both", level: 0 };
  }

  get main() {
    return this.panes[0];
  }

  /** Another part comes: nothing of the one before is kept. */
  forget() {
    this.frame = this.corners = this.smooth = null;
    this.rebuild();
  }

  /** Paint the pockets of one attitude; `frame` as the desk answers it. */
  async setPockets(frame) {
    this.colours ??= await bathColours();
    this.frame = frame;
    this.rebuild();
  }

  /** `way`: both, in or out; `level`: height of the bath's surface along up [mm]. */
  setMoment(way, level) {
    this.moment = { way, level };
    this.rebuild();
  }

  /** Pockets that are there at this moment, as numbers from 1: a bubble once the rising bath has passed its surface, a pool once the falling one has. */
  there(kind) {
    const { way, level } = this.moment;
    const rows = this.frame?.values[kind === "air" ? "air" : "pools"] ?? [];
    const yes = (row) => way === "both" || (way === "in" ? kind === "air" && level >= row.surface_mm : kind === "pool" && level <= row.surface_mm);
    return new Set(rows.flatMap((row, i) => (yes(row) ? [i + 1] : [])));
  }

  rebuild() {
    const { main, frame } = this;
    for (const child of this.wet ?? []) {
      child.geometry.dispose(); // materials stay: to make their programs anew takes longer than all the rest
      main.scene.remove(child);
    }
    this.wet = [];
    if (!frame || !main.mesh) return;
    const up = frame.values.up;
    const flags = [];
    for (const kind of ["air", "pool"]) {
      const rows = frame.values[kind === "air" ? "air" : "pools"];
      const seen = this.there(kind);
      this.paintSides(kind, rows, seen, up);
      this.paintSurface(kind, seen);
      flags.push(...rows.map((row, i) => ({ row, kind, n: i + 1 })).filter((f) => seen.has(f.n)));
    }
    flags.sort((a, b) => b.row.mm3 - a.row.mm3);
    main.flags = flags.slice(0, NAMED).map(({ row, kind, n }) => ({ place: row.far, name: `${kind === "air" ? "air pocket" : "pool"} ${n}, ${fixed(row.depth_mm, 1)} mm ${kind === "air" ? "high" : "deep"}`, text: millilitres(row.mm3), kind: "pocket" }));
    this.bathSurface(up);
    this.redraw();
  }

  /** A material of this picture, made when it is first wanted. */
  material(name, make) {
    this.made ??= new Map();
    if (!this.made.has(name)) this.made.set(name, make());
    return this.made.get(name);
  }

  add(object, order) {
    object.renderOrder = order;
    object.frustumCulled = false;
    this.main.scene.add(object);
    this.wet.push(object);
    return object;
  }

  /** The sheet under each pocket; what the sheet itself hides is drawn through it in fine lines. */
  paintSides(kind, rows, seen, up) {
    const { mesh } = this.main;
    const colour = this.colours[kind];
    const sense = kind === "pool" ? 1 : -1;
    for (const side of ["front", "back"]) {
      const number = this.frame.arrays[`${kind}_${side}`];
      const cells = [];
      for (let i = 0; i < number.length; i++) if (seen.has(number[i])) cells.push(i);
      if (!cells.length) continue;
      const [position, normal, levels] = [new Float32Array(9 * cells.length), new Float32Array(9 * cells.length), new Float32Array(3 * cells.length)];
      this.corners ??= mesh.corners;
      this.smooth ??= mesh.normals;
      cells.forEach((i, k) => {
        position.set(this.corners.subarray(9 * i, 9 * i + 9), 9 * k);
        normal.set(this.smooth.subarray(9 * i, 9 * i + 9), 9 * k);
        levels.fill(this.reach(i, rows[number[i] - 1].surface_mm, up, sense), 3 * k, 3 * k + 3);
      });
      const geometry = new THREE.BufferGeometry();
      geometry.setAttribute("position", new THREE.BufferAttribute(position, 3));
      geometry.setAttribute("normal", new THREE.BufferAttribute(normal, 3));
      geometry.setAttribute("level", new THREE.BufferAttribute(levels, 1));
      const painted = this.material(`${kind}/${side}`, () => paint(colour, side === "front" ? THREE.FrontSide : THREE.BackSide, sense));
      painted.uniforms.vertical.value.set(...up);
      this.add(new THREE.Mesh(geometry, painted), 1);
    }
  }

  /** Up to where a triangle of a pocket is painted: to the free surface; all of it where it lies wholly beyond, shut in with the pocket. */
  reach(triangle, surface, up, sense) {
    const c = this.corners.subarray(9 * triangle, 9 * triangle + 9);
    const beyond = [0, 3, 6].every((k) => sense * (c[k] * up[0] + c[k + 1] * up[1] + c[k + 2] * up[2] - surface) > 0);
    return beyond ? sense * 1e9 : surface;
  }

  paintSurface(kind, seen) {
    const all = this.frame.arrays[`${kind}_surface_triangles`];
    const owner = this.frame.arrays[`${kind}_surface_pocket`];
    const triangles = [];
    for (let i = 0; i < owner.length; i++) if (seen.has(owner[i])) triangles.push(all[3 * i], all[3 * i + 1], all[3 * i + 2]);
    if (!triangles.length) return;
    const mesh = new Mesh(this.frame.arrays[`${kind}_surface_points`], Uint32Array.from(triangles));
    const colour = this.colours[kind];
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(mesh.corners, 3));
    geometry.setAttribute("normal", new THREE.BufferAttribute(mesh.normals, 3));
    geometry.setAttribute("value", new THREE.BufferAttribute(new Float32Array(triangles.length), 1));
    this.add(new THREE.Mesh(geometry, this.material(`${kind}/surface`, () => level(colour, 0.5))), 2);
    const behind = this.material(`${kind}/behind`, () => engraved([1, 0, 0], 1));
    behind.depthFunc = THREE.GreaterDepth;
    behind.uniforms.ink.value.copy(colour);
    behind.uniforms.along.value.set(...this.main.view.basis.right);
    behind.uniforms.pitch.value = Math.max(this.main.mesh.radius / 60, 0.2);
    this.add(new THREE.Mesh(geometry.clone(), behind), 3);
    const edges = new THREE.BufferGeometry();
    edges.setAttribute("position", new THREE.BufferAttribute(mesh.border, 3));
    const line = this.material(`${kind}/line`, () => thin(colour, 1));
    line.depthTest = false; // where a pocket ends is always told
    this.add(new THREE.LineSegments(edges, line), 4);
  }

  /** The bath's surface as a level disc, above the part where no moment is chosen. */
  bathSurface(up) {
    const { mesh, view } = this.main;
    const water = this.material("water", () => level(this.colours.pool, 0.2));
    const over = this.moment.way === "both" ? this.frame.values.high + 0.07 * mesh.radius : this.moment.level;
    const rise = over - mesh.centre.reduce((sum, v, k) => sum + v * up[k], 0);
    const size = 0.98 * mesh.radius;
    const a = unit(cross(up, Math.abs(up[0]) < 0.6 ? [1, 0, 0] : [0, 1, 0]));
    const b = cross(up, a);
    const at = (turn) => mesh.centre.map((v, k) => v + up[k] * rise + size * (Math.cos(turn) * a[k] + Math.sin(turn) * b[k]));
    const ring = Array.from({ length: ROUND }, (_, i) => at((2 * Math.PI * i) / ROUND));
    const middle = mesh.centre.map((v, k) => v + up[k] * rise);
    const edges = new THREE.BufferGeometry();
    edges.setAttribute("position", new THREE.BufferAttribute(new Float32Array(ring.flatMap((q, i) => [...q, ...ring[(i + 1) % ROUND]])), 3));
    const line = this.material("line", () => thin("#888888", 1));
    line.color.set(css("--hair-2"));
    this.add(new THREE.LineSegments(edges, line), 0);
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(ring.flatMap((q, i) => [...middle, ...q, ...ring[(i + 1) % ROUND]])), 3));
    this.add(new THREE.Mesh(geometry, water), 2);
    water.opacity = this.moment.way === "both" ? 0.07 : 0.2;
    const { right } = view.basis;
    this.main.flags.push({ place: middle.map((v, k) => v - size * 0.96 * right[k]), text: "bath’s surface", kind: "level" });
  }

  async valuesAt(triangle, point) {
    const v = this.frame?.values;
    if (!v) return [];
    const high = point.reduce((sum, x, k) => sum + x * v.up[k], 0) - v.low;
    const side = (name) => {
      const of = (kind, rows, word) => {
        const n = this.frame.arrays[`${kind}_${name}`][triangle];
        return n ? `${word} ${n}, ${millilitres(rows[n - 1].mm3)}` : null;
      };
      return of("air", v.air, "air pocket") ?? of("pool", v.pools, "pool") ?? "free";
    };
    return [["Above the lowest place", quantity(high, "mm", 4)], ["Front side", side("front")], ["Back side", side("back")]]; // prettier-ignore
  }
}
