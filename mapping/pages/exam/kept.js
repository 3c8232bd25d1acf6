// What is recorded, and nothing else: it lives in this page alone, never in the browser's storage.
import { aside, forget, forgive, isWrong, sent, unread } from "./aside.js";
import { model } from "./words.js";
import { keepClock, wall, written } from "./times.js";

export { aside };

export const findings = new Map();
export const areas = new Map();
export const normals = new Map();
for (const area of model.areas) {
  areas.set(area.area, area);
  for (const finding of area.findings) findings.set(finding.name, Object.assign(finding, { area: area.area }));
  for (const [name, normal] of Object.entries(area.normal)) normals.set(name, { ...normal, area: area.area });
}

const now = wall(new Date());
/** The head of the visit as it is typed; `rest` is what a file brought beside findings, and goes out as it came. */
export const visit = { bornDay: "", bornTime: "", day: now.day, time: now.time, sex: "", rest: {}, history: [] };
const records = new Map();
export const watchers = new Set();
export const saved = { changed: false };

export const recorded = (name) => records.get(name) ?? [];
export const anything = () => records.size > 0;
export const sides = (finding) => (finding.sides ? ["right", "left"] : [""]);

/** The recording of a side that the page shows and changes; others of the same side stay beside it. */
export const current = (name, side = "") => recorded(name).findLast((one) => one.side === side && !one.older);

export function changed(name) {
  if (name) forgive(name, recorded(name));
  saved.changed = true;
  for (const watcher of watchers) watcher(name);
}

/** Record for one side; `null` takes it back to not examined. What was filled by a system is then one's own. */
export function record(name, side, what, silently = false) {
  let before = current(name, side);
  if (what && before?.brought && !what.fields) {
    before.older = true; // what the family told stays as told, beside what is recorded here
    before = undefined;
  }
  const others = recorded(name).filter((one) => one !== before);
  if (what) {
    const kept = before && !before.fields?.origin && !what.by ? before.fields : {};
    others.push({ side, ...what, fields: { ...kept, ...what.fields } });
  }
  if (others.length) records.set(name, others);
  else records.delete(name);
  if (!silently) changed(name);
}

export function remove(name, one) {
  const others = recorded(name).filter((other) => other !== one);
  if (others.length) records.set(name, others);
  else records.delete(name);
  changed(name);
}

/** Keep the current recording of a side as an older one, so that another reading can be given. */
export function another(name, side) {
  const one = current(name, side);
  if (one) one.older = true;
  changed(name);
}

/** Make another reading of today the one that the row shows and changes. */
export function show(name, one) {
  const now = current(name, one.side);
  if (now) now.older = true;
  one.older = false;
  changed(name);
}

/** A recording as its list holds it: what the family told is never overwritten by what is recorded here. */
const brought = (one) => ({ side: one.side, ...one.what, ...(one.what.fields?.reported ? { brought: true } : {}) });

/** What the family asked and nobody has answered yet: pairs of finding and recording; what is asked alone stays out. */
export function asks() {
  const open = [];
  for (const [name, all] of records) {
    const finding = findings.get(name);
    if (finding.private || !finding.values) continue;
    const usual = new Set(finding.values.filter((one) => one.expected).map((one) => one.value));
    open.push(...all.filter((one) => one.fields?.text && !one.absent && !usual.has(one.value)).map((one) => [finding, one]));
  }
  return open;
}

/** The value that says of a question that it has its answer; undefined where the finding has none. */
export const settling = (finding) => finding.values.find((one) => one.expected && !["none", "no"].includes(one.value))?.value;

/** Record that a question of the family has its answer, given at this visit; its words stay. */
export function answer(finding, one) {
  const { text } = one.fields;
  Object.assign(one, { value: settling(finding), brought: false, fields: { text } });
  changed(finding.name);
}

/** State of a finding for its mark: none, expected, unexpected, recorded, attempted. */
export function state(name) {
  const finding = findings.get(name);
  const all = recorded(name);
  if (!all.length) return "none";
  if (all.every((one) => one.absent)) return "attempted";
  const values = all.filter((one) => !one.absent);
  if (!finding.expected || values.some((one) => one.value === undefined)) return "recorded";
  const usual = new Set(finding.values.filter((one) => one.expected).map((one) => one.value));
  return values.every((one) => usual.has(one.value)) ? "expected" : "unexpected";
}

/** Whether something is recorded here that a touch on the mark takes back: never what the family told. */
export const ownHere = (name) => sides(findings.get(name)).some((side) => current(name, side) && !current(name, side).brought);

export function touchedAsExpected(name) {
  const finding = findings.get(name);
  const off = ownHere(name);
  for (const side of sides(finding)) record(name, side, off ? null : { value: finding.expected }, true);
  changed(name);
}

// --- a system that is charted in one word

/** What the button of a system would fill, or has filled, among the findings that a step shows. */
export function filledBy(system, shown) {
  const { fills } = normals.get(system);
  return Object.keys(fills).filter((name) => shown.includes(name) && findings.get(name).ask !== "seen" && !findings.get(name).hand);
}

export const mine = (system, name) => recorded(name).length > 0 && recorded(name).every((one) => one.by === system);

export function fill(pairs) {
  for (const [system, name] of pairs) {
    if (recorded(name).length) continue;
    const value = normals.get(system).fills[name];
    for (const side of sides(findings.get(name))) record(name, side, { value, by: system }, true);
  }
  changed();
}

export function takeBack(pairs) {
  for (const [system, name] of pairs) {
    const others = recorded(name).filter((one) => one.by !== system); // one side may have been looked at by itself since
    if (others.length) records.set(name, others);
    else records.delete(name);
  }
  changed();
}

// --- what goes up

const item = (one) => ({
  ...(one.absent ? { absent: one.absent } : one.parts ? { ...one.parts } : { value: one.value }),
  ...(one.unit && !one.absent ? { unit: one.unit } : {}),
  ...one.fields,
  ...(one.by ? { charted_by: one.by } : {}),
});

const whole = (one, finding) => !finding.parts || one.absent || Object.keys(one.parts ?? {}).length > 0;

/** What is recorded by its key in the visit, each as the recordings that say it: two where both sides say the same. */
function gathered(everything) {
  const found = {};
  for (const [name, all] of records) {
    const mine = all.filter((one) => whole(one, findings.get(name)) && (everything || !isWrong(one)));
    const [right, left] = ["right", "left"].map((side) => mine.filter((one) => one.side === side));
    const alike = right.length > 0 && JSON.stringify(right.map(item)) === JSON.stringify(left.map(item));
    if (alike) found[`${name}.both`] = right.map((one, k) => [one, left[k]]);
    for (const one of mine) if (!alike || !one.side) (found[one.side ? `${name}.${one.side}` : name] ??= []).push([one]);
  }
  return found;
}

/**
 * The visit as the server reads it (`schemas/visit.md`), without what is kept aside; `everything` has that too, and
 * `told` says of it that it could not be read. `asked`: the server is asked now, and will say what it cannot use.
 */
export function flat({ everything = false, told = false, asked = false } = {}) {
  const kept = Object.entries(gathered(everything));
  const found = Object.fromEntries(kept.map(([key, all]) => [key, all.map(([one]) => item(one))]));
  if (asked) sent(new Map(kept.flatMap(([key, all]) => all.map((ones, k) => [`findings.${key}[${k}]`, ones]))));
  const { history = {}, others = {}, ...rest } = visit.rest;
  const earlier = {};
  for (const one of visit.history) (earlier[one.side ? `${one.finding}.${one.side}` : one.finding] ??= []).push(one.item);
  const past = { ...history, ...(visit.history.length ? { findings: earlier } : {}) };
  const until = lastOf(found) ?? rest.until;
  const not = told ? [...records].flatMap(([name, all]) => unread(name, all)) : [];
  return {
    ...rest,
    layette_visit: 1,
    ...(visit.bornDay ? { born: visit.born ?? written(visit.bornDay, visit.bornTime) } : {}),
    ...(visit.day ? { at: visit.at ?? written(visit.day, visit.time) } : {}),
    ...(until ? { until } : {}),
    sex_at_birth: visit.sex || "unknown",
    findings: { ...others, ...found },
    ...(Object.keys(past).length ? { history: past } : {}),
    ...(not.length ? { not_understood: [...(rest.not_understood ?? []), ...not] } : {}),
  };
}

const A_DAY = 86400000;
/** The time of the last recording of the day that follows the beginning: what is found until then belongs to the visit. */
function lastOf(found) {
  const began = Date.parse(visit.at ?? written(visit.day, visit.time));
  const after = (time) => Date.parse(time) - began;
  const times = Object.values(found).flat().map((one) => one.time).filter((time) => after(time) > 0 && after(time) <= A_DAY);
  const known = visit.rest.until;
  return [...times, ...(known ? [known] : [])].sort((one, other) => Date.parse(one) - Date.parse(other)).at(-1);
}

/** Of several readings of a side the latest is the one that its row changes; the others stand below it. */
function latestShown(list, at) {
  const time = (one) => Date.parse(one.fields?.time) || at || 0;
  const inOrder = list.map((one, k) => [time(one), k, one]).sort((one, other) => one[0] - other[0] || one[1] - other[1]);
  const last = new Map(inOrder.map(([, , one]) => [one.side, one]));
  for (const one of list) one.older = last.get(one.side) !== one;
}

/** Take in what the server read from a file; what was on the page before is gone. */
export function take(opened) {
  records.clear();
  forget();
  keepClock(opened.clock);
  for (const one of opened.records) records.set(one.finding, [...(records.get(one.finding) ?? []), brought(one)]);
  for (const list of records.values()) latestShown(list, Date.parse(opened.at));
  const born = opened.born?.length > 10 ? wall(new Date(opened.born)) : { day: opened.born ?? "", time: "" };
  const at = opened.at ? (opened.at.length > 10 ? wall(new Date(opened.at)) : { day: opened.at, time: "" }) : { day: "", time: "" };
  Object.assign(visit, {
    bornDay: born.day, bornTime: born.time, day: at.day, time: at.time, born: opened.born, at: opened.at,
    sex: opened.sex ?? "", rest: opened.rest ?? {}, history: opened.earlier ?? [],
  });
  changed();
  saved.changed = false;
}

/** Put what the family told before the visit beside what is on the page, which stays as it is; returns how many came. */
export function join(opened) {
  const at = new Date(visit.at ?? written(visit.day, visit.time) ?? Infinity);
  let came = 0;
  for (const one of opened.records) {
    const list = records.get(one.finding) ?? [];
    const mine = brought(one);
    if (new Date(mine.fields.time) > at) delete mine.fields.time; // told after the page was opened: at this visit
    const same = (other) => ["value", "unit", "absent", "fields"].every((part) => JSON.stringify(other[part]) === JSON.stringify(mine[part]));
    if (list.some(same)) continue;
    if (list.some((other) => other.side === one.side && !other.older)) mine.older = true;
    records.set(one.finding, [...list, mine]);
    came += 1;
  }
  if (!visit.bornDay && opened.born) Object.assign(visit, { bornDay: opened.born, bornTime: "", born: opened.born });
  changed();
  return came;
}

/** Add to a list what is not in it yet; returns how many that were. */
function addedTo(list, more) {
  const there = new Set(list.map((one) => JSON.stringify(one)));
  const fresh = more.filter((one) => !there.has(JSON.stringify(one)));
  list.push(...fresh);
  return fresh.length;
}

/** Put an earlier visit beside what is on the page, once; returns how many recordings came. */
export function remember(opened) {
  const came = addedTo(visit.history, opened.earlier);
  for (const [part, list] of Object.entries(opened.past ?? {})) {
    visit.rest.history ??= {};
    addedTo(visit.rest.history[part] ??= [], list);
  }
  if (!visit.bornDay && opened.born) {
    const born = opened.born.length > 10 ? wall(new Date(opened.born)) : { day: opened.born, time: "" };
    Object.assign(visit, { bornDay: born.day, bornTime: born.time, born: opened.born });
  }
  visit.sex ||= opened.sex ?? "";
  changed();
  return came;
}
