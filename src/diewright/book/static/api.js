// The one road to the server: JSON, raw arrays and the stream of events. Every refusal arrives as a Problem.

export class Problem extends Error {
  constructor({ error, where = "", help = "" }, status = 0) {
    super(error);
    this.error = error;
    this.where = where;
    this.help = help;
    this.status = status;
  }
}

const LOST = { error: "The desk does not answer.", where: "", help: "Start it again with: diewright open" };

async function refusal(response) {
  try {
    const said = await response.json();
    if (said && typeof said.error === "string") return new Problem(said, response.status);
  } catch {
    // not JSON: say what is known
  }
  return new Problem({ error: `The desk refused this request (${response.status}).`, help: "Load the page again." }, response.status);
}

async function ask(path, options) {
  let response;
  try {
    response = await fetch(path, { credentials: "same-origin", ...options });
  } catch {
    throw new Problem(LOST);
  }
  if (!response.ok) throw await refusal(response);
  return response;
}

export const get = async (path) => (await ask(path)).json();

export const post = async (path, body = {}) =>
  (await ask(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) })).json();

export async function upload(path, file) {
  const form = new FormData();
  form.append("file", file, file.name);
  return (await ask(path, { method: "POST", body: form })).json();
}

const seg = encodeURIComponent;
const raw = new Map();

async function numbers(path, Kind) {
  if (!raw.has(path)) {
    raw.set(
      path,
      ask(path).then(async (r) => new Kind(await r.arrayBuffer())),
    );
    raw.get(path).catch(() => raw.delete(path));
    if (raw.size > 80) raw.delete(raw.keys().next().value); // keep the oldest out: a long session must not fill memory
  }
  return raw.get(path);
}

const moving = new Map();

/** Arrays over all instants are large: a few of them are kept, apart from the others. */
function frames(path, Kind) {
  const have = moving.get(path) ?? ask(path).then(async (r) => new Kind(await r.arrayBuffer()));
  moving.delete(path);
  moving.set(path, have); // the one used last is the last to go
  have.catch(() => moving.delete(path));
  if (moving.size > 16) moving.delete(moving.keys().next().value);
  return have;
}

/** The newest live frame of a stage at work: {kind, values, arrays: {name: typed array}}, or null. */
export async function live(stage) {
  const response = await ask(`/api/live/${seg(stage)}`);
  return response.status === 204 ? null : unpacked(await response.arrayBuffer());
}

/** The pockets of the part of a result of dip with `up` in its coordinates: {kind, values, arrays}. */
export const pockets = async (key, up, holes) => unpacked(await (await ask(`/api/dip/${seg(key)}?x=${up[0]}&y=${up[1]}&z=${up[2]}&holes=${holes}`)).arrayBuffer());

/** A packed frame: {kind, values, arrays: {name: typed array}}. */
function unpacked(bytes) {
  const length = new DataView(bytes).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(bytes, 4, length)));
  const arrays = {};
  let at = 4 + length;
  for (const { name, shape, type } of head.arrays) {
    const count = shape.reduce((a, b) => a * b, 1);
    arrays[name] = new (type === "u4" ? Uint32Array : Float32Array)(bytes, at, count);
    at += 4 * count;
  }
  return { ...head, arrays };
}

/** Raw content of one result; `key` names exactly one state of the job, so everything here may be kept. */
export const data = {
  series: (stage, key, name, what) => frames(`/api/result/${seg(stage)}/${seg(key)}/series/${seg(name)}/${what}`, what === "triangles" ? Uint32Array : Float32Array),
  points: (stage, key, mesh) => numbers(`/api/result/${seg(stage)}/${seg(key)}/mesh/${seg(mesh)}/points`, Float32Array),
  triangles: (stage, key, mesh) => numbers(`/api/result/${seg(stage)}/${seg(key)}/mesh/${seg(mesh)}/triangles`, Uint32Array),
  point: (stage, key, mesh, field) => numbers(`/api/result/${seg(stage)}/${seg(key)}/mesh/${seg(mesh)}/point.${seg(field)}`, Float32Array),
  cell: (stage, key, mesh, field) => numbers(`/api/result/${seg(stage)}/${seg(key)}/mesh/${seg(mesh)}/cell.${seg(field)}`, Float32Array),
  array: (stage, key, name) => numbers(`/api/result/${seg(stage)}/${seg(key)}/array/${seg(name)}`, Float32Array),
  file: (stage, key, name) => `/api/file/${seg(stage)}/${seg(key)}/${seg(name)}`,
};

/** Listen to the desk; `heard` is called as heard(kind, content). Reconnects by itself. */
export function listen(heard) {
  const stream = new EventSource("/api/events");
  for (const kind of ["progress", "book", "failed"]) {
    stream.addEventListener(kind, (event) => {
      try {
        heard(kind, JSON.parse(event.data));
      } catch (problem) {
        console.error(problem);
      }
    });
  }
  stream.addEventListener("open", () => heard("open", null));
  stream.addEventListener("error", () => heard("lost", null));
  return stream;
}
