// Colour tables: shipped as sRGB triples, decoded to linear light by the graphics card when they are sampled.

import * as THREE from "three";

const tables = new Map();

/** The table `name` as an array of [r, g, b] in 0..255. */
export function table(name) {
  if (!tables.has(name)) {
    tables.set(
      name,
      fetch(new URL(`../colour/${name}.csv`, import.meta.url))
        .then((r) => r.text())
        .then((text) => text.trim().split("\n").slice(1).map((line) => line.split(",").map(Number))),
    );
  }
  return tables.get(name);
}

const textures = new Map();

/** A 256 x 1 texture of the table, optionally turned round. */
export async function texture(name, reverse = false) {
  const key = `${name}/${reverse}`;
  if (!textures.has(key)) {
    const rows = await table(name);
    const bytes = new Uint8Array(rows.length * 4);
    rows.forEach((c, i) => bytes.set([...c, 255], 4 * (reverse ? rows.length - 1 - i : i)));
    const tex = new THREE.DataTexture(bytes, rows.length, 1, THREE.RGBAFormat, THREE.UnsignedByteType);
    tex.colorSpace = THREE.SRGBColorSpace;
    tex.minFilter = tex.magFilter = THREE.LinearFilter;
    tex.needsUpdate = true;
    textures.set(key, tex);
  }
  return textures.get(key);
}

/** CSS colour at the share `t` of the table. */
export function colourAt(rows, t, reverse = false) {
  const f = Math.min(Math.max(reverse ? 1 - t : t, 0), 1) * (rows.length - 1);
  const i = Math.floor(f);
  const j = Math.min(i + 1, rows.length - 1);
  return `rgb(${[0, 1, 2].map((k) => Math.round(rows[i][k] + (rows[j][k] - rows[i][k]) * (f - i))).join(" ")})`;
}

/** A round step that divides lo..hi into about `count` parts. */
export function niceStep(lo, hi, count = 8) {
  const span = Math.abs(hi - lo);
  if (!(span > 0)) return 1;
  const raw = span / count;
  const power = 10 ** Math.floor(Math.log10(raw));
  return [1, 2, 2.5, 5, 10].map((m) => m * power).find((s) => s >= raw * 0.999);
}

export function niceTicks(lo, hi, count = 8) {
  const step = niceStep(lo, hi, count);
  const ticks = [];
  for (let i = Math.ceil(lo / step - 1e-9); i * step <= hi + step * 1e-9; i++) ticks.push(Number((i * step).toPrecision(12)));
  return ticks;
}
