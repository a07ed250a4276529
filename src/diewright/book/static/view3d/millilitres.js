// Volumes of the bath in words.

import { num } from "../words.js";

/** A volume as a plater reads it: mL from a tenth of one on, mm3 below. */
export const millilitres = (mm3) => (mm3 >= 100 ? `${num(mm3 / 1000, 3)}\u00a0mL` : `${num(mm3, 3)}\u00a0mm³`);
