// Lengths and odds as people read them.
import { t } from "./strings.js";

const stored = (key, normal) => {
  try { return localStorage.getItem(key) ?? normal; } catch { return normal; }
};
export const setting = {
  get units() { return stored("units", /^en-(US|GB|CA)/.test(navigator.language) ? "in" : "cm"); },
  get thickness() { return stored("thickness", ""); },
  keep(key, value) { try { localStorage.setItem(key, value); } catch { /* a private window forgets */ } },
};

const glyphs = { "1/2": "½", "1/4": "¼", "3/4": "¾", "1/8": "⅛", "3/8": "⅜", "5/8": "⅝", "7/8": "⅞" };

// inches writes a length to the nearest sixteenth, as it stands on a ruler.
export function inches(x) {
  let n = Math.round(Math.abs(x) * 16), den = 16;
  const whole = Math.floor(n / 16);
  n %= 16;
  while (n && n % 2 === 0) { n /= 2; den /= 2; }
  const part = n ? (glyphs[`${n}/${den}`] ?? `${n}/${den}`) : "";
  const sep = whole && part.length > 1 ? " " : "";
  return (x < 0 ? "-" : "") + (whole || !part ? whole : "") + sep + part;
}

// length writes inches in the unit the user wishes.
export function length(inch, u) {
  if (setting.units === "cm") {
    const cm = inch * 2.54;
    return u ? `${cm.toFixed(1)} ± ${(2 * u * 2.54).toFixed(1)} cm` : `${cm.toFixed(1)} cm`;
  }
  return u ? `${inch.toFixed(2)} ± ${Math.max(2 * u, 0.01).toFixed(2)} in` : `${inches(inch)} in`;
}

// odds says a probability as cases in a hundred, never more than it is.
export function odds(p) {
  if (p >= 0.995) return t("odds.over");
  if (p < 0.01) return t("odds.under");
  return t("odds", { n: Math.floor(p * 100 + 1e-6) });
}

// plusMinus writes a value with the half-width of its 95 % interval, which is
// never printed narrower than it is.
export function plusMinus(value, half) {
  if (!(half > 0)) return value.toFixed(2);
  let n = -Math.floor(Math.log10(half));
  if (half * 10 ** n < 3) n++;
  n = Math.min(Math.max(n, 0), 4);
  return `${value.toFixed(n)} ± ${(Math.ceil(half * 10 ** n - 1e-6) / 10 ** n).toFixed(n)}`;
}

// percent writes a small share with two figures.
export const percent = (x) => (x === 0 ? "0 %" : `${Number((100 * x).toPrecision(2))} %`);

// number is x with at most n decimals, without zeros at its end.
export const number = (x, n) => String(Number(x.toFixed(n)));
