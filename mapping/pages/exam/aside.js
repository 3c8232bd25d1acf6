// What the server could not use: it stays on the page beside its field, and is left out of what goes up.

/** By finding (or "born", "at"): what is said beside its field. */
export const aside = new Map();
const wrong = new Map();
let up = new Map();

export const isWrong = (one) => wrong.has(one);

/** Remember what goes up: from its path in the visit to its recordings. */
export function sent(paths) {
  up = paths;
}

/** Keep aside the one reading that a problem names, else `all` of its finding; whether that is more than before. */
export function refuse(name, problem, text, all) {
  const path = /^findings\.[\w.]+\[\d+\]/.exec(problem.path)?.[0];
  const fresh = (up.get(path) ?? all).filter((one) => !wrong.has(one));
  for (const one of fresh) wrong.set(one, problem);
  const before = aside.get(name) ?? "";
  if (!before.includes(text)) aside.set(name, `${before} ${text}`.trim());
  return fresh.length > 0;
}

/** Something of a finding was changed: all of it goes up again. */
export function forgive(name, all) {
  aside.delete(name);
  for (const one of all) wrong.delete(one);
}

/** What a page made of the visit says of the recordings that are left out of it. */
export const unread = (name, all) => [...new Set(all.map((one) => wrong.get(one)).filter(Boolean))].map(({ value, message, expected }) => ({
  path: `findings.${name}`, text: String(value ?? ""), why: expected ? `${message}; expected ${expected}` : message, finding: name,
}));

export function forget() {
  aside.clear();
  wrong.clear();
}
