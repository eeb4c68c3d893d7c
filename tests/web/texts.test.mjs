// The words of the page to teach with: none is missing in any language, and each has its place.
import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import test from "node:test";

const page = new URL("../../app/page/", import.meta.url);
const read = (name) => readFileSync(new URL(name, page), "utf8");
const languages = Object.fromEntries(readdirSync(new URL("texts/", page)).map((name) => [name, JSON.parse(read(`texts/${name}`))]));
const scripts = ["web/main.js", ...readdirSync(new URL("web/parts/", page)).map((name) => `web/parts/${name}`)].map(read).join("\n");
const english = languages["en.json"];
const places_of = (text) => [...text.matchAll(/\{(\w+)\}/g)].map(([, name]) => name).sort();

/** Keys as the scripts and the page write them; one with ${...} in it stands for all that fit. */
function keys_asked() {
  const keys = [...read("web/page.html").matchAll(/data-t(?:-label)?="([^"]+)"/g)].map(([, key]) => key);
  for (const [, key] of scripts.matchAll(
    /["`]((?:page|unit|picture|meter|lamp|count|plot|run|fault|try|course|slider|choice|ask|sheet|q)\.[A-Za-z0-9_.${}+ ]+)["`]/g,
  ))
    if (!key.endsWith(".")) keys.push(key);
  return keys;
}

test("every key that is asked for has an English text, and every text is asked for", () => {
  const asked = keys_asked().map(
    (key) =>
      new RegExp(
        `^${key
          .replace(/\$\{[^}]*\}+/g, "@")
          .replace(/\./g, "\\.")
          .replace(/@/g, "[a-z0-9_]+")}$`,
      ),
  );
  assert.ok(asked.length > 100);
  for (const pattern of asked)
    assert.ok(
      Object.keys(english).some((key) => pattern.test(key)),
      `no text for ${pattern.source}`,
    );
  for (const key of Object.keys(english)) assert.ok(key === "language.name" || asked.some((pattern) => pattern.test(key)), `nobody asks for ${key}`);
});

test("every language has every text, with the same places for numbers", () => {
  for (const [name, texts] of Object.entries(languages)) {
    assert.deepEqual(Object.keys(texts).sort(), Object.keys(english).sort(), name);
    for (const [key, text] of Object.entries(texts)) {
      assert.ok(text.trim().length > 0, `${name}: ${key} is empty`);
      assert.deepEqual(places_of(text), places_of(english[key]), `${name}: ${key}`);
    }
  }
});

test("every question has a question, three guesses, facts that are counted, and a reason of one sentence", () => {
  const ids = [...scripts.matchAll(/^ {4}id: "(\w+)",$/gm)].map(([, id]) => id);
  assert.ok(ids.length >= 8 && ids.length <= 10);
  for (const id of ids) {
    for (const part of ["ask", "a", "b", "c", "why"]) assert.ok(english[`q.${id}.${part}`], `q.${id}.${part}`);
    const facts = Object.keys(english).filter((key) => key.startsWith(`q.${id}.facts.`));
    assert.ok(facts.length >= 3);
    for (let k = 1; k <= facts.length; k += 1) assert.ok(english[`q.${id}.facts.${k}`], `q.${id}.facts.${k}`);
    assert.match(english[`q.${id}.why`], /^[^.!?]*[^.!? ]\.$/, `q.${id}.why is one sentence`);
  }
});
