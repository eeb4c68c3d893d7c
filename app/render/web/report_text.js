// Reading the document, and turning numbers and words into text and tables.
// All strings go in as text, never as HTML.

// ---- the document: every part may be missing or of the wrong type ----------------------------------------------------

const list = (value) => (Array.isArray(value) ? value : []);
const part = (value) => (value && typeof value === "object" && !Array.isArray(value) ? value : {});
const parts = (value) => list(value).filter((one) => one && typeof one === "object" && !Array.isArray(one));
const text = (value) => (typeof value === "string" ? value.trim() : typeof value === "number" ? num(value) : "");
const known = (value) => typeof value === "number" && Number.isFinite(value);
const number = (value) => (known(value) ? value : NaN);
const numbers = (value) => list(value).map(number);

// ---- numbers and words -----------------------------------------------------------------------------------------------

const NOTHING = "\u2013";

/** A number with `digits` significant digits: 2.40, 0.0125, 1.3 x 10^-14 with real signs; a dash for what is unknown. */
function num(value, digits = 3) {
  if (!known(value)) return NOTHING;
  if (value === 0) return "0";
  const [mantissa, exponent] = Math.abs(value)
    .toExponential(digits - 1)
    .split("e");
  const power = Number(exponent);
  const sign = value < 0 ? "\u2212" : "";
  if (power < -4 || power > 5) return `${sign}${mantissa}\u202f\u00d7\u202f10${superscript(String(power))}`;
  return sign + Math.abs(value).toFixed(Math.max(0, digits - 1 - power));
}

const superscript = (digits) =>
  digits.replace(
    /[-\d]/g,
    (c) => "\u207b\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079"["-0123456789".indexOf(c)],
  );
const percent = (fraction, digits = 3) => (known(fraction) ? `${num(100 * fraction, digits)}\u202f%` : NOTHING);

function duration(hours) {
  if (!known(hours)) return NOTHING;
  if (Math.abs(hours) >= 1) return `${num(hours)} h`;
  return Math.abs(hours) * 60 >= 1 ? `${num(hours * 60)} min` : `${num(hours * 3600)} s`;
}

/** Powers of ten and signs as they are printed: 3e-14, -5. A formula stays as it can be typed. */
const set_numbers = (words) =>
  /[*^]/.test(words)
    ? words
    : words
        .replace(
          /(^|[\s(\u2212-])(\d+(?:\.\d+)?)e\+?(-?)0*(\d+)(?![\w.])/g,
          (_, before, mantissa, sign, power) => `${before}${mantissa}\u202f\u00d7\u202f10${superscript(sign + power)}`,
        )
        .replace(/(^|[\s(])-(?=\d)/g, "$1\u2212");

/** Units as they are typed in a sheet, as they are printed: cm2, um, degC, ohm. */
const printed = (value) =>
  set_numbers(text(value))
    .replace(
      /(^|[\d\s/.*\u00b7])(cm|mm|um|\u00b5m|nm|m)(-?[23])\b/g,
      (_, before, unit, power) => before + unit + superscript(power),
    )
    .replace(/(^|[\d\s/])um(?![A-Za-z])/g, "$1\u00b5m")
    .replace(/\bdegC\b/g, "\u00b0C")
    .replace(/\bohm\./g, "\u03a9\u00b7")
    .replace(/\bohm\b/g, "\u03a9")
    .replace(/\+\/-/g, "\u00b1")
    .replace(/\u00b1 (?=\d)/g, "\u00b1\u00a0")
    .replace(/(\d) (?=%|\u00b0C)/g, "$1\u202f");

const ELEMENTS = new Set(
  (
    "H Li B C N O F Na Mg Al Si P S Cl K Ca Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Zr Nb Mo Ru " +
    "Ag In Sn Sb Te I La Ta W Bi"
  ).split(" "),
);

/** Text as nodes, the digits of chemical formulae lowered. */
function rich(value) {
  const nodes = [];
  for (const piece of printed(value).split(/((?:[A-Z][a-z]?(?:\d+(?:\.\d+)?)?){2,})/)) {
    const atoms = piece.match(/[A-Z][a-z]?|\d+(?:\.\d+)?/g) || [];
    const symbols = atoms.filter((atom) => /^[A-Z]/.test(atom));
    const formula =
      symbols.length > 1 &&
      symbols.length < atoms.length &&
      atoms.join("") === piece &&
      symbols.every((symbol) => ELEMENTS.has(symbol));
    if (formula) nodes.push(...atoms.map((atom) => (/^\d/.test(atom) ? el("sub", {}, atom) : atom)));
    else if (piece) nodes.push(piece);
  }
  return nodes;
}

// ---- elements --------------------------------------------------------------------------------------------------------

function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) if (value !== undefined) node.setAttribute(name, value);
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== ""));
  return node;
}

const bullets = (values, className) =>
  el(
    "ul",
    { class: className },
    values.map((value) => el("li", {}, rich(value))),
  );

function section(title, ...children) {
  const filled = children.flat().filter(Boolean);
  return filled.length ? el("section", {}, el("h2", {}, title), filled) : null;
}

/** columns: {head, cell(row) -> string, numeric, tight (never broken)}. The first names the row; an empty one is left out. */
function table(caption, columns, rows) {
  if (!rows.length) return null;
  const empty = (value) => value === "" || value === NOTHING;
  const shown = columns.filter((column, i) => i === 0 || rows.some((row) => !empty(column.cell(row))));
  const side = (column) => (column.numeric ? "number" : column.tight ? "tight" : undefined);
  const head = shown.map((column) => el("th", { scope: "col", class: side(column) }, rich(column.head)));
  const body = rows.map((row) =>
    el(
      "tr",
      {},
      shown.map((column, i) =>
        el(i ? "td" : "th", { scope: i ? undefined : "row", class: side(column) }, rich(column.cell(row))),
      ),
    ),
  );
  return el(
    "div",
    { class: "table", role: "region", tabindex: "0", "aria-label": caption },
    el("table", {}, el("caption", {}, rich(caption)), el("thead", {}, el("tr", {}, head)), el("tbody", {}, body)),
  );
}
