// The answer beside the examination: asked anew after each touch, the whole visit each time, late answers dropped.
import { aside, refuse } from "./aside.js";
import { measures } from "./comes.js";
import { anything, findings, flat, recorded, visit } from "./kept.js";
import { aged, button, count, element, spoken, t } from "./words.js";

const WAIT = 4;
/** How long one question keeps the next from being asked: what is typed fast is asked once for several touches. */
const PATIENCE = 400;
const NEAR = 10;
const RETRIES = [1000, 2000, 4000, 8000];
const MOST_ASIDE = 12;
const MOST_OPEN = 10;
export const answered = { last: null, stale: false, problems: [] };
let asked = 0;
let shown = 0;
let failures = 0;
let timer = 0;
let flying = null;
let announced = "";
let told = new Set();
let context = { step: null, private: false, begun: new Set(), left: 0, redraw: () => {}, here: () => [] };

export function inside(what) {
  Object.assign(context, what);
}

/** Ask soon: several touches within a moment are one question. */
export function soon(wait = WAIT) {
  asked += 1;
  document.documentElement.dataset.asked = asked;
  clearTimeout(timer);
  timer = setTimeout(due, wait);
}

/** Ask now, or shortly after the answer that is on its way; one that does not come holds nobody up for long. */
function due() {
  if (flying !== null && performance.now() - flying < PATIENCE) timer = setTimeout(due, NEAR);
  else ask();
}

async function ask() {
  const mine = asked;
  if (!visit.bornDay || !visit.day) {
    answered.last = null;
    drawn(mine);
    return;
  }
  const began = performance.now();
  flying = began;
  try {
    for (let k = 0; k <= MOST_ASIDE; k += 1) {
      const reply = await fetch("/assess?page=exam", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(flat({ asked: true })) });
      const content = await reply.json();
      if (mine < shown) return;
      if (reply.status === 503) throw new Error("busy");
      failures = 0;
      if (reply.ok) {
        shown = mine;
        show(content.answer);
        drawn(mine);
        return;
      }
      shown = mine;
      if (!setAside(content)) {
        drawn(mine);
        return;
      }
    }
  } catch {
    if (mine < shown || mine < asked) return;
    notReached();
  } finally {
    if (flying === began) flying = null;
  }
}

/** Draw, and say which question this is the answer to. */
function drawn(mine) {
  context.redraw();
  document.documentElement.dataset.drawn = mine;
}

/** Keep what the server could not use beside its field, and say so there; whether there is a rest to send again. */
function setAside({ problems = [], urgent = [] }) {
  let fresh = false;
  answered.problems = [];
  for (const problem of problems) {
    const name = /^findings\.(\w+)/.exec(problem.path)?.[1];
    const text = said(problem);
    if (findings.has(name)) fresh = refuse(name, problem, text, recorded(name)) || fresh;
    else if (["born", "at", "sex_at_birth"].includes(problem.path)) aside.set(problem.path, text);
    else answered.problems.push(`${problem.path}: ${text}`);
  }
  answered.urgent = urgent;
  const more = fresh && !aside.has("born") && !aside.has("at");
  if (!more) {
    answered.last = null;
    answered.stale = false;
    alert(urgent.join(" "));
  }
  context.redraw();
  return more;
}

const said = ({ message, value, expected }) => t("not-used", {
  what: [value, message].filter(Boolean).join(": "), right: expected ? t("right-is", { expected }) : "",
}).trim();

function notReached() {
  answered.stale = true;
  context.redraw();
  soon(RETRIES[Math.min(failures, RETRIES.length - 1)]);
  failures += 1;
}

function show(answer) {
  answered.last = answer;
  answered.stale = false;
  answered.problems = [];
  answered.urgent = [];
  measures(answer.values);
  announce();
}

// --- what it says

const grave = () => answered.last.groups.filter((group) => group.deadline === "now").flatMap((group) => group.items);
const visible = (one) => context.private || !one.private;

const names = (items) => [...new Set(items.filter(visible).map((one) => one.label))];
const hiddenOf = (items) => items.filter((one) => !visible(one)).length;

/** The verdict in one sentence or a few, from the engine's numbers and names. */
export function verdict() {
  if (!visit.bornDay || !visit.day) return t("when-born");
  if (!answered.last) return answered.urgent?.length ? answered.urgent.join(" ") : t(answered.problems?.length || aside.size ? "not-read" : "waiting");
  const { last } = answered;
  const now = [...names(grave()), ...names(last.chase).map((one) => t("overdue", { what: one }))];
  const parts = [];
  const alone = hiddenOf([...grave(), ...last.chase]);
  const what = [...now.slice(0, 3), now.length > 3 && t("and-more", { n: now.length - 3 }), alone && count("alone", alone)];
  if (now.length || alone) parts.push(t("now-is", { what: what.filter(Boolean).join("; ") }));
  if (aside.size) parts.push(count("kept-aside", aside.size)); // early: on a telephone two lines of it are in sight
  if (last.verdict.judge) parts.push(count("to-judge", last.verdict.judge));
  if (last.verdict.unread && !aside.size) parts.push(count("not-understood", last.verdict.unread));
  if (last.verdict.tomorrow) parts.push(count("by-tomorrow", last.verdict.tomorrow));
  const said = parts.length - Number(aside.size > 0);
  if (!said) parts.push(t(anything() ? "nothing-pressing" : "nothing-recorded"));
  const open = context.openBegun?.() ?? { n: 0, grave: 0 };
  if (open.n) parts.push(count("still-open", open.n) + (open.grave ? `, ${count("could-be", open.grave)}` : "") + ".");
  if (context.left) parts.push(count("not-begun", context.left));
  return parts.join(" ");
}

function announce() {
  const text = verdict();
  const now = new Set(grave().filter(visible).map((one) => one.key));
  const fresh = grave().filter(visible).filter((one) => !told.has(one.key));
  if (fresh.length) alert(t("now-is", { what: fresh.map((one) => one.label).join("; ") }));
  told = now;
  if (text === announced) return;
  announced = text;
  clearTimeout(announce.timer);
  announce.timer = setTimeout(() => { document.getElementById("quietly").textContent = announced; }, 900);
}

/** Take back what was announced: what was said in the private room must not be read outside it. */
export function hush() {
  clearTimeout(announce.timer);
  announced = "";
  told = new Set();
  for (const id of ["quietly", "at-once"]) document.getElementById(id).textContent = "";
}

function alert(text) {
  const place = document.getElementById("at-once");
  if (text && place.textContent !== text) place.textContent = text;
}

function section(title, kind, ...content) {
  const made = element("section", null, kind);
  made.append(element("h3", title), ...content);
  return made;
}

function act(one) {
  const line = element("li", null, "act");
  line.append(element("span", one.label, "what"));
  const more = [one.when, one.why].filter(Boolean);
  if (more.length) line.append(element("span", more.join(". ").replace(/\.\. /g, ". "), "why"));
  if (one.do?.length) line.append(element("span", one.do.join(" · "), "why"));
  if (one.unless) line.append(element("span", t("unless", { what: one.unless.join("; ") }), "why"));
  if (one.rule) line.append(element("span", [one.rule, ...one.sources].join(" · "), "rests"));
  line.lang = "en";
  return line;
}

function list(items, made = act) {
  const box = element("ol");
  for (const one of items.filter(visible)) box.append(made(one));
  const hidden = hiddenOf(items);
  if (hidden) box.append(element("li", count("alone", hidden), "act"));
  return box;
}

function judged(one) {
  const line = act({ label: one.label, why: one.why });
  line.append(element("span", t("may-need", { what: one.hangs.join("; ") }), "why"));
  return line;
}

function openHere() {
  const all = context.here();
  if (!all.length) return [];
  const box = element("ul", null, "still");
  for (const { name, label, grave: pressing } of all.slice(0, MOST_OPEN)) {
    const line = element("li");
    line.append(button((pressing ? "! " : "") + label, "plain", () => context.reach(name)));
    box.append(line);
  }
  if (all.length > MOST_OPEN) box.append(element("li", t("and-more", { n: all.length - MOST_OPEN })));
  return [section(t("open-here"), "open-here", box)];
}

/** Draw the whole of the answer, in the order in which it is acted on. */
export function draw(place) {
  if (answered.stale) place.append(element("p", t("not-reached"), "stale"));
  for (const text of answered.problems ?? []) place.append(element("p", text, "stale"));
  const { last } = answered;
  if (!last) return;
  place.append(element("p", `${t("age")}: ${aged(last.age)}`, "age"));
  if (spoken() !== "en") place.append(element("p", t("in-english"), "fine"));
  for (const group of last.groups.filter((one) => one.deadline === "now")) place.append(section(t("now"), "now", list(group.items)));
  if (last.chase.length) place.append(section(t("chase"), "now", list(last.chase)));
  if (last.judge.length) place.append(section(t("judge"), "judge", list(last.judge, judged)));
  place.append(...openHere());
  for (const group of last.groups.filter((one) => one.deadline !== "now")) place.append(section(t(group.deadline), "later", list(group.items)));
  const avoid = last.avoid.filter(visible);
  if (avoid.length) place.append(section(t("do-not"), "later", list(avoid)));
  if (last.measures.length) place.append(section(t("measures"), "later", list(last.measures, ([label, value]) => Object.assign(element("li", `${label}: ${value}`), { lang: "en" }))));
  const coming = last.visits.filter((one) => one.items.length);
  if (coming.length) place.append(section(t("come-back"), "later", list(coming, (one) => Object.assign(element("li", `${one.when}: ${one.items.join(" · ")}`), { lang: "en" }))));
  if (last.normal.length) place.append(section(t("normal"), "later", list(last.normal, (one) => Object.assign(element("li", one), { lang: "en" }))));
  if (last.warnings.length) place.append(section(t("about-input"), "later", list(last.warnings, (one) => Object.assign(element("li", one), { lang: "en" }))));
}
