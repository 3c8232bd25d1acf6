// The words of the page: its own texts and the pack's labels, in the language that is chosen.
const made = JSON.parse(document.getElementById("made").textContent);
export const model = made.model;
let language = "en";

export function speak(chosen) {
  language = chosen;
  document.documentElement.lang = chosen;
}

export const spoken = () => language;

/** A text of the page itself; `{name}` stands for what is filled in. */
export function t(key, filled = {}) {
  const text = made.texts[key]?.[language] ?? made.texts[key]?.en ?? key;
  return text.replace(/\{(\w+)\}/g, (_, name) => filled[name] ?? "");
}

/** A unit as people say it: most are signs, the same in every language. */
export const unitSaid = (said) => (said in made.texts ? t(said) : said);

/** One or several: `key` with `n` filled in, `key_1` where n is one. */
export const count = (key, n, filled = {}) => t(n === 1 && made.texts[`${key}_1`] ? `${key}_1` : key, { n, ...filled });

/** A text of the pack by language; English where it has no other. */
export const pick = (words) => words?.[language] ?? words?.en ?? "";

/** Whether a text of the pack is to be had in the chosen language. */
export const has = (words) => Boolean(words?.[language]);

/** An element with a text of the pack, its language marked where that is not the page's. */
export function packed(tag, words, kind) {
  const made = element(tag, pick(words), kind);
  if (words && !has(words)) made.lang = "en";
  return made;
}

export function element(tag, text, kind) {
  const made = document.createElement(tag);
  if (text !== undefined && text !== null) made.textContent = text;
  if (kind) made.className = kind;
  return made;
}

export function button(text, kind, pressed) {
  const made = element("button", text, kind);
  made.type = "button";
  if (pressed) made.addEventListener("click", pressed);
  return made;
}

const SPANISH = { day: "día", days: "días", week: "semana", weeks: "semanas", month: "mes", months: "meses", about: "unos" };
/** An age as the engine tells it, its words in the chosen language. */
export const aged = (text) => (language === "es" ? text.replace(/[a-z]{2,}/g, (word) => SPANISH[word] ?? word) : text);

export const lower = (text) => (/^[A-ZÁÉÍÓÚÑ][a-záéíóúñ ,]/.test(text) ? text[0].toLowerCase() + text.slice(1) : text);
