// One view of the picture: its scene, its camera, what is written over it.

import * as THREE from "three";
import { h, s, css } from "../dom.js";
import { View } from "./camera.js";
import { Mesh } from "./geometry.js";
import { draw } from "./overlay.js";
import { engraved, surface, thin } from "./shade.js";

function buffer(values, size) {
  return new THREE.BufferAttribute(values, size);
}

export class Pane {
  constructor({ name, caption, flat = false, arrow = true, view = new View({ flat }) }) {
    Object.assign(this, { name, flat, arrow, view });
    this.scene = new THREE.Scene();
    this.material = surface();
    this.plane = new THREE.Plane(new THREE.Vector3(-1, 0, 0), 0);
    this.svg = s("svg", { class: "overlay", "aria-hidden": "true" });
    this.root = h(
      "div",
      { class: "pane", tabindex: "0", role: "group", "aria-label": `${caption}. Arrow keys turn, plus and minus zoom, 0 shows the whole part, Enter reads the values in the middle.` },
      h("p", { class: "pane-caption" }, caption),
      this.svg,
    );
    this.flags = [];
    this.contours = [];
    this.ring = null;
    this.mesh = null;
    this.tools = new Map();
  }

  /** Show a mesh; `edges` are segments (6k) drawn thin. Keeps the view if the part keeps its size. */
  setMesh(points, triangles, edges = [], outline = null) {
    const before = this.mesh;
    this.clear();
    const mesh = new Mesh(points, triangles);
    this.mesh = mesh;
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", buffer(mesh.corners, 3));
    geometry.setAttribute("normal", buffer(mesh.normals, 3));
    geometry.setAttribute("value", buffer(new Float32Array(triangles.length), 1));
    this.body = new THREE.Mesh(geometry, this.material);
    this.scene.add(this.body);
    this.body.frustumCulled = false; // it may move out of the box it was made in
    for (const lines of edges) this.addLines(lines, "--picture-edge", 0.85);
    this.rim = this.addLines(mesh.border, "--picture-edge", 0.85);
    if (outline) this.addLines(outline, "--picture-edge", 1);
    if (!before || Math.abs(before.radius / mesh.radius - 1) > 0.2) this.view.setPart(mesh);
    else Object.assign(this.view, { centre: mesh.centre, radius: mesh.radius, extent: mesh.hi.map((v, k) => v - mesh.lo[k]) });
  }

  addLines(segments, colour, opacity) {
    if (!segments?.length) return null;
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", buffer(segments, 3));
    const lines = new THREE.LineSegments(geometry, thin(css(colour) || "#16202f", opacity));
    lines.material.clippingPlanes = this.cutting ? [this.plane] : [];
    lines.frustumCulled = false;
    this.scene.add(lines);
    return lines;
  }

  /** New positions of the mesh's points: only what is drawn from them is filled anew. */
  move(points) {
    const { mesh, body, rim } = this;
    mesh.move(points);
    const { position, normal } = body.geometry.attributes;
    mesh.fillCorners(position.array);
    mesh.fillNormals(normal.array);
    position.needsUpdate = normal.needsUpdate = true;
    if (rim) {
      mesh.fillBorder(rim.geometry.attributes.position.array);
      rim.geometry.attributes.position.needsUpdate = true;
    }
  }

  /** Put a tool into the view, drawn in lines. `along`: the direction across its lines. */
  setTool(name, points, triangles, along) {
    this.dropTool(name);
    const mesh = new Mesh(points, triangles);
    const group = new THREE.Group();
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", buffer(mesh.corners, 3));
    geometry.setAttribute("normal", buffer(mesh.normals, 3));
    geometry.setAttribute("value", buffer(new Float32Array(triangles.length), 1));
    const body = new THREE.Mesh(geometry, engraved(along, Math.max(mesh.radius / 34, 0.2)));
    body.renderOrder = 3;
    const edges = new THREE.BufferGeometry();
    edges.setAttribute("position", buffer(mesh.border, 3));
    const rim = new THREE.LineSegments(edges, thin(css("--picture-edge") || "#16202f", 0.55));
    rim.renderOrder = 3;
    group.add(body, rim);
    this.scene.add(group);
    this.tools.set(name, { mesh, group, body, rim, shift: 0 });
  }

  dropTool(name) {
    const tool = this.tools.get(name);
    if (!tool) return;
    for (const child of [tool.body, tool.rim]) {
      child.geometry.dispose();
      child.material.dispose();
    }
    this.scene.remove(tool.group);
    this.tools.delete(name);
  }

  /** Lift a tool by `shift` mm from its closed place, shown or hidden. */
  placeTool(name, shift, shown) {
    const tool = this.tools.get(name);
    if (!tool) return;
    tool.shift = shift;
    tool.group.position.z = shift;
    tool.group.visible = shown;
  }

  clear() {
    for (const child of [...this.scene.children].filter((c) => !c.isGroup)) {
      child.geometry?.dispose();
      if (child.material !== this.material) child.material?.dispose();
      this.scene.remove(child);
    }
    this.body = this.hatch = this.spot = this.rim = null;
    this.ring = null;
  }

  /** Values on the corners, or null for the bare part. */
  setValues(values) {
    if (!this.body) return;
    this.material.uniforms.field.value = values !== null;
    if (values) {
      this.body.geometry.attributes.value.array.set(values);
      this.body.geometry.attributes.value.needsUpdate = true;
    }
  }

  /** Cut the part at axis = at (null: whole), with the cut drawn at its true thickness. */
  setCut(axis, at, thickness = 0, sign = 1) {
    this.cutting = axis !== null && !this.flat;
    const u = this.material.uniforms;
    u.cut.value = this.cutting;
    this.hatch?.geometry.dispose();
    if (this.hatch) this.scene.remove(this.hatch);
    this.hatch = null;
    this.cutSegments = [];
    this.keep = null;
    if (this.cutting && this.mesh) {
      const n = [0, 0, 0];
      n[axis] = sign; // the side towards the eye is taken away
      u.plane.value.set(...n, sign * at);
      this.plane.set(new THREE.Vector3(...n.map((v) => -v)), sign * at);
      this.keep = (x, y, z) => sign * ([x, y, z][axis] - at) <= 0;
      this.cutSegments = this.mesh.cut(axis, at);
      this.hatch = ribbon(this.cutSegments, axis, Math.max(thickness, this.mesh.radius * 0.004), css("--accent"));
      if (this.hatch) this.scene.add(this.hatch);
    }
    this.clip();
  }

  /** Cut by an upright plane in any direction: what lies beyond n . (x, y) = d is taken away. `n` null: whole. */
  cutUpright(n, d) {
    this.setCut(null, 0);
    if (!n || !this.mesh) return;
    const u = this.material.uniforms;
    this.cutting = u.cut.value = true;
    u.plane.value.set(n[0], n[1], 0, d);
    this.plane.set(new THREE.Vector3(-n[0], -n[1], 0), d);
    this.keep = (x, y) => n[0] * x + n[1] * y <= d;
    this.clip();
  }

  /** Hand the plane of the cut to everything that is drawn. */
  clip() {
    const u = this.material.uniforms;
    for (const child of this.scene.children) if (child.isLineSegments) child.material.clippingPlanes = this.cutting ? [this.plane] : [];
    for (const { body, rim } of this.tools.values()) {
      body.material.uniforms.cut.value = this.cutting;
      body.material.uniforms.plane.value.copy(u.plane.value);
      rim.material.clippingPlanes = this.cutting ? [this.plane] : [];
    }
  }

  /** Light one triangle up (null: none). */
  light(triangle) {
    if (this.spot) {
      this.spot.geometry.dispose();
      this.scene.remove(this.spot);
      this.spot = null;
    }
    this.ring = null;
    if (triangle === null || !this.mesh || triangle >= this.mesh.count) return;
    const { points, triangles } = this.mesh;
    const place = new Float32Array(9);
    for (let k = 0; k < 9; k++) place[k] = points[3 * triangles[3 * triangle + ((k / 3) | 0)] + (k % 3)];
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", buffer(place, 3));
    this.spot = new THREE.Mesh(geometry, new THREE.MeshBasicMaterial({ color: css("--accent"), side: THREE.DoubleSide, depthTest: false }));
    this.spot.renderOrder = 5;
    this.scene.add(this.spot);
    this.ring = this.mesh.centroid(triangle);
  }

  /** Which contour figures and flags face the eye; done when the view rests. */
  judge() {
    if (!this.mesh) return;
    const { out } = this.view.basis;
    const eps = this.mesh.radius * 0.004;
    for (const c of this.contours) {
      const from = c.place.map((v, k) => v + out[k] * eps);
      c.visible = !(this.keep && !this.keep(...c.place)) && !this.mesh.pick(from, out, this.keep, eps);
    }
  }

  pick(x, y) {
    if (!this.mesh) return null;
    const { origin, direction } = this.view.ray(x, y);
    return this.mesh.pick(origin, direction, this.keep);
  }

  /** Write over the view; with the cross that Enter reads at, when the keyboard is at work here. */
  write() {
    const focused = document.activeElement === this.root && this.root.dataset.by !== "hand";
    draw(this.svg, this.view, { flags: [...(this.marks ?? []), ...this.flags].filter((f) => !this.keep || this.keep(...f.place)), contours: this.contours, ring: this.ring, arrow: this.arrow, cross: focused });
  }
}

/** The cut surface: quads along the segments, `thickness` wide in the plane of the cut. */
function ribbon(segments, axis, thickness, colour) {
  if (!segments.length) return null;
  const [i, j] = [0, 1, 2].filter((k) => k !== axis);
  const out = [];
  for (const [a, b] of segments) {
    const d = [b[i] - a[i], b[j] - a[j]];
    const l = Math.hypot(...d);
    if (l < 1e-9) continue;
    const n = [(-d[1] / l) * (thickness / 2), (d[0] / l) * (thickness / 2)];
    const at = (q, sign) => {
      const r = [...q];
      r[i] += sign * n[0];
      r[j] += sign * n[1];
      return r;
    };
    out.push(...at(a, 1), ...at(a, -1), ...at(b, 1), ...at(b, 1), ...at(a, -1), ...at(b, -1));
  }
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", buffer(new Float32Array(out), 3));
  const mesh = new THREE.Mesh(geometry, new THREE.MeshBasicMaterial({ color: colour, side: THREE.DoubleSide }));
  mesh.renderOrder = 2;
  return mesh;
}
