// How a surface is drawn: matte grey under soft light, or a field in perceptual colour with contour lines.

import * as THREE from "three";

const VERTEX = /* glsl */ `
  attribute float value;
  varying float vValue;
  varying vec3 vNormal;
  varying vec3 vPlace;
  void main() {
    vValue = value;
    vNormal = normalMatrix * normal;
    vPlace = (modelMatrix * vec4(position, 1.0)).xyz;
    gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
  }
`;

const FRAGMENT = /* glsl */ `
  uniform sampler2D lut;
  uniform float lo, hi, level, softness;
  uniform bool field, stepped, lines, cut;
  uniform vec3 base, ink;
  uniform vec4 plane;
  varying float vValue;
  varying vec3 vNormal;
  varying vec3 vPlace;
  void main() {
    if (cut && dot(vPlace, plane.xyz) > plane.w) discard;
    vec3 n = normalize(vNormal);
    if (!gl_FrontFacing) n = -n;
    float key = max(dot(n, normalize(vec3(-0.45, 0.60, 0.66))), 0.0);
    float sky = 0.5 + 0.5 * n.y;
    float light = 0.40 + 0.26 * sky + 0.44 * key;
    vec3 colour = base;
    if (field) {
      float v = stepped ? (floor(vValue / level) + 0.5) * level : vValue;
      float t = clamp((v - lo) / max(hi - lo, 1e-12), 0.0, 1.0);
      colour = texture2D(lut, vec2(t * 0.99609375 + 0.001953125, 0.5)).rgb;
      light = mix(1.0, light, softness);
      if (lines) {
        float f = vValue / level;
        float w = fwidth(f);
        float d = abs(fract(f - 0.5) - 0.5) / max(w, 1e-6);
        // a plateau that lies on a level is no line
        float a = (1.0 - smoothstep(0.35, 1.15, d)) * 0.62 * (1.0 - smoothstep(0.15, 0.45, w)) * smoothstep(1e-5, 1e-4, w);
        float bright = dot(colour, vec3(0.2126, 0.7152, 0.0722));
        colour = mix(colour, bright < 0.1 ? vec3(0.75) : ink, a);
      }
    }
    if (!gl_FrontFacing) light *= 0.9;
    gl_FragColor = vec4(colour * light, 1.0);
    #include <colorspace_fragment>
  }
`;

export function surface() {
  return new THREE.ShaderMaterial({
    vertexShader: VERTEX,
    fragmentShader: FRAGMENT,
    side: THREE.DoubleSide,
    polygonOffset: true,
    polygonOffsetFactor: 1,
    polygonOffsetUnits: 1,
    uniforms: {
      lut: { value: null },
      lo: { value: 0 },
      hi: { value: 1 },
      level: { value: 1 },
      softness: { value: 0.5 },
      field: { value: false },
      stepped: { value: false },
      lines: { value: true },
      cut: { value: false },
      plane: { value: new THREE.Vector4(1, 0, 0, 0) },
      base: { value: new THREE.Color("#b4b7ba") },
      ink: { value: new THREE.Color("#16202f") },
    },
  });
}

const ENGRAVED = /* glsl */ `
  uniform float pitch;
  uniform bool cut;
  uniform vec3 ink, along;
  uniform vec4 plane;
  varying vec3 vNormal;
  varying vec3 vPlace;
  void main() {
    if (cut && dot(vPlace, plane.xyz) > plane.w) discard;
    float d = dot(vPlace, along) / pitch;
    float w = fwidth(d);
    float line = 1.0 - smoothstep(0.25, 1.05, abs(fract(d - 0.5) - 0.5) / max(w, 1e-6));
    float rim = 1.0 - abs(normalize(vNormal).z);
    float alpha = 0.05 + line * 0.36 * (1.0 - smoothstep(0.2, 0.5, w)) + 0.30 * rim * rim * rim;
    gl_FragColor = vec4(ink, alpha);
    #include <colorspace_fragment>
  }
`;

/** A tool as an engraver shows what one looks through: fine parallel lines, darker at the rims. `along`: the direction across the lines. */
export function engraved(along, pitch) {
  return new THREE.ShaderMaterial({
    vertexShader: VERTEX,
    fragmentShader: ENGRAVED,
    side: THREE.DoubleSide,
    transparent: true,
    depthWrite: false,
    uniforms: {
      pitch: { value: pitch },
      cut: { value: false },
      plane: { value: new THREE.Vector4(1, 0, 0, 0) },
      ink: { value: new THREE.Color("#16202f") },
      along: { value: new THREE.Vector3(...along).normalize() },
    },
  });
}

export function thin(colour, opacity = 1) {
  return new THREE.LineBasicMaterial({ color: colour, transparent: opacity < 1, opacity, clippingPlanes: [] });
}
