// The hands on the bath: two angles, the best attitudes, where the eye stands, and the bath's level from lowering to lifting.

import { h, put, uid } from "../dom.js";
import { anglesOf, upOf } from "../view3d/bath_view.js";
import { millilitres } from "../view3d/millilitres.js";
import { fixed, num, typed } from "../words.js";

const WAYS = [["both", "all that stays"], ["in", "lowering in"], ["out", "lifting out"]]; // prettier-ignore
const LOOKS = [[38, "From above"], [14, "Level"], [-32, "From below"]]; // prettier-ignore
const SLOW_MS = 180;

/** `turned(up)`, `moment(way, share)`, `look(elevation)` and `holed(yes)` are called as the person moves the controls. */
export function turning({ turned, moment, look, holed }) {
  const angle = (name, lo, hi) => h("input", { type: "text", class: "figure", id: uid("angle"), inputmode: "decimal", autocomplete: "off", "aria-label": name, dataset: { lo, hi }, onchange: () => typedAngles() });
  const lean = angle("Up leans from the part’s z, degrees", 0, 180);
  const towards = angle("towards, from the part’s x, degrees", -360, 360);
  const error = h("p", { class: "field-error", role: "alert" });
  const bestRow = h("span", { class: "dip-choices" });
  const way = h("select", { id: uid("way"), onchange: () => moved() }, WAYS.map(([value, text]) => h("option", { value }, text)));
  const slider = h("input", { type: "range", id: uid("level"), min: 0, max: 1000, value: 500, "aria-label": "Level of the bath", oninput: () => moved() });
  const level = h("output", { class: "figure", for: slider.id });
  const said = h("p", { class: "dip-said", role: "status" });
  const holes = h("input", { type: "checkbox", onchange: () => holed(holes.checked) });
  const holesRow = h("label", { class: "tick" }, holes, "with the proposed holes");
  let slow = 0;

  function typedAngles() {
    const values = [lean, towards].map((input) => typed(input.value));
    const wrong = values.some((v, i) => typeof v !== "number" || v < Number([lean, towards][i].dataset.lo) || v > Number([lean, towards][i].dataset.hi));
    error.textContent = wrong ? "A lean from 0 to 180° and a side from −360 to 360° are wanted." : "";
    if (!wrong) turned(upOf(...values));
  }
  const moved = () => {
    slider.hidden = way.value === "both";
    if (slider.hidden) level.textContent = "";
    moment(way.value, way.value === "out" ? 1 - Number(slider.value) / 1000 : Number(slider.value) / 1000);
  };
  slider.hidden = true;
  const root = h(
    "div",
    { class: "dip-controls" },
    said,
    h("div", { class: "dip-row" }, h("span", { class: "pair" }, h("label", { for: lean.id }, "Up leans from z by"), lean, h("span", { class: "unit" }, "°")), h("span", { class: "pair" }, h("label", { for: towards.id }, "towards"), towards, h("span", { class: "unit" }, "° from x")), bestRow),
    error,
    h("div", { class: "dip-row" }, h("span", { class: "pair" }, h("label", { for: way.id }, "Show"), way), slider, level, holesRow, h("span", { class: "dip-choices" }, h("span", { class: "pair-name" }, "The eye:"), LOOKS.map(([el, text]) => h("button", { type: "button", class: "word", onclick: () => look(el) }, text)))),
  );
  return {
    root,
    show: (yes) => (root.hidden = !yes),
    canHole: (yes) => (holesRow.hidden = !yes),
    say: (text) => (said.textContent = text),
    bests: (ups, now) => put(bestRow, h("span", { class: "pair-name" }, "Take it to:"), ups.map((v, i) => h("button", { type: "button", class: "word", onclick: () => turned(v) }, `best ${i + 1}`)), h("button", { type: "button", class: "word", onclick: () => turned(now) }, "as worked")),
    set(up) {
      const a = anglesOf(up);
      for (const [input, value] of [[lean, a.lean], [towards, a.towards]]) {
        const have = typed(input.value);
        const off = typeof have === "number" ? Math.abs(((have - value + 540) % 360) - 180) : 360;
        if (off > 0.05) input.value = fixed(value, 1); // what was typed stays as it was typed
      } // prettier-ignore
    },
    /** Say that the desk is at it, when it takes longer than one notices. */
    wait(yes) {
      clearTimeout(slow);
      root.classList.toggle("waiting", yes);
      if (yes) slow = setTimeout(() => (said.textContent = "Filling the bath in this attitude. What you see is the attitude before."), SLOW_MS);
    },
    answer(v) {
      clearTimeout(slow);
      const of = (mm3, n, one) => (n ? `${millilitres(mm3)} in ${num(n)} ${one}${n > 1 ? "s" : ""}` : mm3 > 0 ? `${millilitres(mm3)} in ${one}s too small to be named` : `no ${one}`);
      said.textContent = `${of(v.air_mm3, v.air.length, "air pocket")}; ${of(v.pool_mm3, v.pools.length, "pool")}.`.replace(/^./, (c) => c.toUpperCase());
      moved();
    },
    level(kind, mm, count, v) {
      if (kind === "both") return;
      const [of, total] = kind === "in" ? ["air pocket", v.air.length] : ["pool", v.pools.length];
      const text = `bath ${fixed(Math.max(mm, 0), 0)} of ${fixed(v.high - v.low, 0)} mm up the part, ${num(count)} of ${num(total)} ${of}s shut off`;
      level.textContent = text;
      slider.setAttribute("aria-valuetext", text);
    },
  };
}
