// npx eslint -c tests/web/eslint.config.mjs app/render/web tests/web: see tests/long/standard.sh. The rules that eslint
// recommends, and a few that catch slips in drawing code.
import js from "@eslint/js";

// The blocks share one scope on the page, each a file; every name that one of them declares is known to all.
import { readFileSync, readdirSync } from "node:fs";
const blocks = "app/render/web/blocks/";  // eslint runs in the root of the project
const shared = Object.fromEntries(
  readdirSync(blocks)
    .map((name) => readFileSync(blocks + name, "utf8"))
    .flatMap((text) => [...text.matchAll(/^(const|let|function) (\w+)/gm)])
    .map(([, kind, name]) => [name, kind === "let" ? "writable" : "readonly"]),
);
const known = (names) => Object.fromEntries(names.split(" ").map((name) => [name, "readonly"]));

const rules = {
  eqeqeq: "error",
  "no-shadow": "error",
  "no-implicit-coercion": "error",
  "prefer-const": "error",
  "no-var": "error",
  "no-param-reassign": ["error", { props: false }],
};

export default [
  js.configs.recommended,
  { ignores: ["**/d3_subset.min.js"] },
  {
    files: ["app/render/web/blocks/*.js"],
    languageOptions: { sourceType: "script", globals: { ...shared, ...known("d3") } },
    // What a block declares is used by another, or by the page.
    rules: { ...rules, "no-redeclare": "off", "no-unused-vars": ["error", { vars: "local" }] },
  },
  {
    files: ["app/render/web/page.js"],
    languageOptions: {
      sourceType: "script",
      globals: {
        ...shared,
        ...known("document window getComputedStyle matchMedia requestAnimationFrame cancelAnimationFrame addEventListener"),
      },
    },
    rules,
  },
  {
    files: ["tests/web/*.mjs"],
    languageOptions: { globals: known("URL console process") },
    rules,
  },
];
