// Words and numbers as they are printed. Strings go in as text and come out as HTML with nothing of theirs taken for it.

const known = (value) => typeof value === "number" && Number.isFinite(value);

const escaped = (words) =>
  String(words).replace(/[&<>"]/g, (c) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[c]);

const superscript = (digits) =>
  digits.replace(/[-\d]/g, (c) => "\u207b\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079"["-0123456789".indexOf(c)]);

/** A number with so many significant digits: 2.40, 0.0125, 1.3 x 10^-14 with real signs; a dash for what is unknown. */
function num(value, digits = 3) {
  if (!known(value)) return "\u2013";
  if (value === 0) return "0";
  const [mantissa, exponent] = Math.abs(value).toExponential(digits - 1).split("e");
  const power = Number(exponent);
  const sign = value < 0 ? "\u2212" : "";
  if (power < -4 || power > 5) return `${sign}${mantissa}\u202f\u00d7\u202f10${superscript(String(power))}`;
  return sign + Math.abs(value).toFixed(Math.max(0, digits - 1 - power));
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
const printed = (words) =>
  set_numbers(String(words ?? "").trim())
    .replace(
      /(^|[\d\s/.*\u00b7])(cm|mm|um|\u00b5m|nm|m)(-?[23])\b/g,
      (_, before, unit, power) => before + unit + superscript(power),
    )
    .replace(/(^|[\d\s/])um(?![A-Za-z])/g, "$1\u00b5m")
    .replace(/\bdegC\b/g, "\u00b0C")
    .replace(/\bohm\./g, "\u03a9\u00b7")
    .replace(/\bohm\b/g, "\u03a9")
    .replace(/\u00b1 (?=\d)/g, "\u00b1\u00a0")
    .replace(/(\d) (?=%|\u00b0C)/g, "$1\u202f");

const ELEMENTS = new Set(
  (
    "H Li B C N O F Na Mg Al Si P S Cl K Ca Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Zr Nb Mo Ru " +
    "Ag In Sn Sb Te I La Ta W Bi"
  ).split(" "),
);

function is_formula(piece) {
  const atoms = piece.match(/[A-Z][a-z]?|\d+(?:[./]\d+)?/g) || [];
  const symbols = atoms.filter((atom) => /^[A-Z]/.test(atom));
  return (
    symbols.length > 1 &&
    symbols.length < atoms.length &&
    atoms.join("") === piece &&
    symbols.every((symbol) => ELEMENTS.has(symbol))
  );
}

/** Text in pieces, every second one of which may be a chemical formula. */
const pieces_of = (words) => printed(words).split(/((?:[A-Z][a-z]?(?:\d+(?:[./]\d+)?)?){2,})/);

/** Text as HTML, the digits of chemical formulae lowered. */
const rich = (words) =>
  pieces_of(words)
    .map((piece) => (is_formula(piece) ? piece.replace(/\d+(?:[./]\d+)?/g, "<sub>$&</sub>") : escaped(piece)))
    .join("");

/** Text for a drawing, which has no lowered letters but those of Unicode. */
const lettered = (words) =>
  pieces_of(words)
    .map((piece) => (is_formula(piece) ? piece.replace(/\d/g, (digit) => String.fromCharCode(0x2080 + Number(digit))) : piece))
    .join("");

/** `<tag name="value">content</tag>`; attributes that are null or undefined are left out; content is HTML. */
function tag(name, attributes = {}, content = "") {
  const inside = Object.entries(attributes)
    .filter(([, value]) => value !== null && value !== undefined)
    .map(([key, value]) => ` ${key}="${escaped(value)}"`)
    .join("");
  return `<${name}${inside}>${Array.isArray(content) ? content.join("") : content}</${name}>`;
}
