// Words in the language of the reader, and numbers as they are read.

const LANGUAGES = JSON.parse(document.getElementById("page_texts").textContent);
const PAGE = JSON.parse(document.getElementById("page_cell").textContent);
let language = Object.keys(LANGUAGES).find((name) => (navigator.language || "").toLowerCase().startsWith(name)) || "en";

/** The text of a key, with {names} replaced. A key that is missing shows itself, and a test finds it. */
function t(key, values = {}) {
  const text = LANGUAGES[language][key] ?? LANGUAGES.en[key] ?? key;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? values[name] : whole));
}

/** A number to some significant digits, never as a power of ten. */
function num(value, digits = 3) {
  if (!Number.isFinite(value)) return "\u2013";
  const places = value === 0 ? 0 : Math.min(8, Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(value)))));
  return fixed(value, places);
}

const fixed = (value, places) =>
  value.toLocaleString(language, { minimumFractionDigits: places, maximumFractionDigits: places, useGrouping: false }).replace("-", "\u2212");

/** Seconds as a clock: "55 min 05 s", "2 h 10 min". */
function lasting(seconds) {
  if (!(seconds >= 0)) return "\u2013";
  const whole = Math.round(seconds);
  if (whole < 60) return t("unit.s", { n: whole });
  if (whole < 5400) return t("unit.min_s", { min: Math.floor(whole / 60), s: String(whole % 60).padStart(2, "0") });
  const minutes = Math.round(whole / 60);
  return t("unit.h_min", { h: Math.floor(minutes / 60), min: String(minutes % 60).padStart(2, "0") });
}

const escaped = (text) => String(text).replace(/[&<>"]/g, (c) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[c]);

/** An element as text: tag("rect", {x: 1}) or tag("text", {...}, "words"). What is inside must be escaped already. */
function tag(name, attributes = {}, inside = "") {
  const list = Object.entries(attributes)
    .filter(([, value]) => value !== undefined && value !== null && value !== false)
    .map(([key, value]) => ` ${key}="${escaped(typeof value === "number" ? Math.round(value * 100) / 100 : value)}"`);
  return `<${name}${list.join("")}>${inside}</${name}>`;
}

const words_at = (x, y, text, more = {}) => tag("text", { x, y, ...more }, escaped(text));
const element = (id) => document.getElementById(id);

/** Puts the texts in place that stand in the page itself. */
function fill_texts() {
  document.documentElement.lang = language;
  for (const node of document.querySelectorAll("[data-t]")) node.textContent = t(node.dataset.t);
  for (const node of document.querySelectorAll("[data-t-label]")) node.setAttribute("aria-label", t(node.dataset.tLabel));
}
