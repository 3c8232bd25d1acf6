// The page itself: who is seen, the spine of steps, one step at a time, the answer beside it.
import { answered, draw, hush, inside, soon, verdict } from "./answer.js";
import { applies, comesUp, hangsOnSex, sexKnown } from "./comes.js";
import { head, paintHead } from "./head.js";
import { rove, walk } from "./keys.js";
import * as kept from "./kept.js";
import { paint, row } from "./rows.js";
import { button, count, element, lower, model, packed, pick, speak, t } from "./words.js";

const at = (id) => document.getElementById(id);
const begun = new Set();
const whole = new Set();
let order = model.orders[0];
let here = order.steps[0].name;
const step = () => order.steps.find((one) => one.name === here);
const steps = () => order.steps.filter((one) => one.findings.some((name) => comesUp(name) || whole.has(one.name)));

// --- what is open

const openOf = (name) => (applies(name) ? answered.last?.open[name] : undefined);
function openIn(one) {
  const all = one.findings.filter(openOf);
  return { n: all.length, grave: all.filter((name) => openOf(name).emergency).length };
}
/** Whether somebody was in a step, or something is recorded in it; of the private room only the first is told. */
const isBegun = (one) => begun.has(one.name) || (!one.private && one.findings.some((name) => kept.recorded(name).length));
const openBegun = () => order.steps.filter((one) => isBegun(one) && (!one.private || here === one.name)).map(openIn)
  .reduce((sum, one) => ({ n: sum.n + one.n, grave: sum.grave + one.grave }), { n: 0, grave: 0 });

function openHere() {
  const names = step().findings.filter(openOf);
  const rank = (name) => 2 * Number(Boolean(openOf(name).emergency)) + Number(comesUp(name));
  names.sort((one, other) => rank(other) - rank(one));
  return names.map((name) => {
    const { sides, emergency } = openOf(name);
    const side = sides.length === 1 ? `, ${lower(t(sides[0]))}` : "";
    return { name, label: pick(kept.findings.get(name).label) + side, grave: emergency };
  });
}

// --- the spine

function spine() {
  const list = element("ol");
  for (const one of steps()) {
    const made = button("", "joint", () => go(one.name, true));
    made.dataset.step = one.name;
    made.append(packed("span", one.label, "joint-name"), element("span", "", "left"));
    const line = element("li");
    line.append(made);
    list.append(line);
  }
  const folded = button("", "where", () => {
    const shown = at("spine").classList.toggle("shown");
    folded.setAttribute("aria-expanded", String(shown));
  });
  folded.setAttribute("aria-expanded", "false");
  folded.setAttribute("aria-controls", "joints");
  list.id = "joints";
  at("spine").setAttribute("aria-label", t("steps"));
  at("spine").replaceChildren(folded, list);
}

function paintSpine() {
  const all = steps();
  if (at("spine").querySelectorAll("[data-step]").length !== all.length) spine();
  for (const one of all) {
    const made = at("spine").querySelector(`[data-step="${one.name}"]`);
    const on = one.name === here;
    made.tabIndex = on ? 0 : -1;
    if (on) made.setAttribute("aria-current", "step");
    else made.removeAttribute("aria-current");
    const { n, grave } = openIn(one);
    const speaks = isBegun(one) && answered.last && (!one.private || on);
    const left = made.querySelector(".left");
    left.textContent = speaks ? (n ? `${grave ? "! " : ""}${n}` : "✓") : "";
    left.setAttribute("aria-label", speaks ? (n ? count("still-open", n) + (grave ? `, ${count("could-be", grave)}` : "") : t("done")) : "");
    left.setAttribute("role", "img");
    left.hidden = !speaks;
    left.classList.toggle("grave", Boolean(speaks && grave));
  }
  const place = all.findIndex((one) => one.name === here);
  at("spine").querySelector(".where").textContent = `${pick(step().label)} · ${place + 1}/${all.length}`;
}

// --- one step

const shownHere = () => step().findings.filter((name) => comesUp(name) || whole.has(here));
const MANY = 2;
/** The systems that a step offers in one touch: its own, and those of which it shows several findings. */
const systemsHere = () => [...kept.normals.keys()].filter((name) => {
  const { length } = kept.filledBy(name, step().findings);
  return length >= MANY || (length > 0 && kept.normals.get(name).area === here);
});

const WHOLE = "whole-step";
/** What the button of a system, or of all systems of the step, would fill or has filled: pairs of system and finding. */
function filled(name) {
  const systems = name === WHOLE ? systemsHere() : [name];
  const pairs = systems.flatMap((system) => kept.filledBy(system, shownHere()).map((one) => [system, one]));
  return pairs.filter(([, one]) => !hangsOnSex(one) || (applies(one) && sexKnown()));
}

function systemButton(name) {
  const made = button("", "system", () => {
    const pairs = filled(name);
    if (pairs.every(([, one]) => kept.recorded(one).length)) kept.takeBack(pairs);
    else kept.fill(pairs);
  });
  made.dataset.system = name;
  made.append(element("span", null, "mark"), element("span", "", "system-name"));
  return made;
}

function paintSystem(made) {
  const name = made.dataset.system;
  const pairs = filled(name);
  const label = name === WHOLE ? t(WHOLE) : pick(kept.normals.get(name).label);
  const left = pairs.filter(([, one]) => !kept.recorded(one).length).length;
  const mine = pairs.filter(([system, one]) => kept.mine(system, one)).length;
  const leaves = (name === WHOLE ? systemsHere() : [name]).flatMap((one) => kept.normals.get(one).leaves);
  const not = leaves.filter((one) => applies(one) && !kept.recorded(one).length).map((one) => lower(pick(kept.findings.get(one).label).split(/[,(]/)[0].trim()));
  const text = left ? count("as-expected", left, { what: label }) : mine ? t("take-back", { what: label, n: mine }) : t("each-by-itself", { what: label });
  made.querySelector(".system-name").textContent = text + (not.length ? ` · ${t("not-these", { what: not.join(", ") })}` : "");
  made.setAttribute("aria-pressed", String(!left && mine > 0));
  made.hidden = !pairs.length;
}

function seenButton(name) {
  const finding = kept.findings.get(name);
  const made = packed("button", finding.label, "value");
  made.type = "button";
  const absent = new Set(["none", "no", "usual", finding.expected]);
  const there = finding.values.find((one) => one.expected && !absent.has(one.value)) ?? finding.values.find((one) => !absent.has(one.value));
  made.dataset.seen = name;
  made.addEventListener("click", () => {
    const off = kept.recorded(name).length > 0;
    for (const side of kept.sides(finding)) kept.record(name, side, off ? null : { value: there.value }, true);
    kept.changed(name);
  });
  return made;
}

function build() {
  const one = step();
  const place = at("work");
  const title = packed("h2", one.label);
  title.id = "title";
  title.tabIndex = -1;
  const lead = element("p", null, "lead");
  lead.append(packed("span", one.step), " ", element("span", "", "state"));
  const content = [title, lead];
  if (one.private) content.push(element("p", t("alone-first"), "note"));
  const unsure = element("p", t("sex-matters"), "note");
  unsure.id = "unsure";
  content.push(unsure);
  const systems = element("div", null, "systems");
  const offered = systemsHere();
  systems.append(...(offered.length >= MANY ? [WHOLE] : []).concat(offered).map(systemButton));
  if (systems.childElementCount) content.push(systems);
  const seen = one.findings.filter((name) => kept.findings.get(name).ask === "seen");
  const also = [];
  if (seen.length && !whole.has(here)) {
    const box = element("div", null, "seen");
    box.setAttribute("role", "group");
    box.setAttribute("aria-label", t("also-seen"));
    box.append(element("span", t("also-seen"), "which"), ...seen.map(seenButton));
    also.push(box);
  }
  const rows = one.findings.filter((name) => whole.has(here) || kept.findings.get(name).ask !== "seen").map(row);
  const more = button(t(whole.has(here) ? "less" : "more"), "plain", () => {
    if (!whole.delete(here)) whole.add(here);
    build();
    at("more").focus();
  });
  more.id = "more";
  const all = steps();
  const k = all.findIndex((other) => other.name === here);
  const foot = element("div", null, "foot");
  const move = (to, text) => to && foot.append(button(text, to === all[k + 1] ? "next" : "plain", () => go(to.name, true)));
  move(all[k - 1], t("back"));
  foot.append(more);
  move(all[k + 1], all[k + 1] ? `${t("next")}: ${pick(all[k + 1].label)}` : "");
  place.replaceChildren(...content, ...rows, ...also, foot);
  paintAll();
}

function paintStep() {
  const one = step();
  for (const made of at("work").querySelectorAll(".finding")) {
    const name = made.dataset.finding;
    made.hidden = !(comesUp(name) || (whole.has(here) && applies(name)));
    paint(made, begun.has(here) ? openOf(name) : undefined);
  }
  for (const made of at("work").querySelectorAll("[data-system]")) paintSystem(made);
  for (const made of at("work").querySelectorAll("[data-seen]")) {
    const mine = kept.recorded(made.dataset.seen);
    made.hidden = !applies(made.dataset.seen);
    made.setAttribute("aria-pressed", String(mine.some((one) => !one.by && !one.absent)));
  }
  at("unsure").hidden = sexKnown() || !one.findings.some(hangsOnSex);
  const n = one.findings.filter((name) => kept.recorded(name).length).length;
  const open = openIn(one);
  const left = open.n ? count("open-in-step", open.n) + (open.grave ? `, ${count("could-be", open.grave)}` : "") : t("nothing-open");
  at("work").querySelector(".state").textContent = `${count("recorded-here", n)}${answered.last ? `, ${left}` : ""}.`;
  rove();
}

// --- the answer

function paintAnswer() {
  const place = at("answer");
  const open_ = place.classList.contains("shown");
  const title = button(verdict(), "verdict", () => {
    const shown = place.classList.toggle("shown");
    title.setAttribute("aria-expanded", String(shown));
  });
  title.setAttribute("aria-expanded", String(open_));
  title.setAttribute("aria-controls", "full");
  const focused = document.activeElement?.closest(".verdict") !== null && place.contains(document.activeElement);
  const full = element("div", null, "full");
  full.id = "full";
  draw(full);
  full.append(Object.assign(element("p", model.caution, "fine"), { lang: "en" }));
  const heading = element("h2", null, "answer-title");
  heading.append(title);
  place.setAttribute("aria-label", t("answer"));
  place.replaceChildren(heading, full);
  place.classList.toggle("stale", answered.stale);
  place.classList.toggle("pressing", Boolean(answered.last?.verdict.now));
  if (focused) title.focus();
}

function paintAll() {
  const left = steps().filter((one) => !isBegun(one)).length;
  inside({ private: Boolean(step().private), left, openBegun, here: openHere, reach });
  paintHead();
  paintSpine();
  paintStep();
  paintAnswer();
}

function reach(name) {
  const found = at(`f-${name}`);
  if (!found) return;
  if (found.hidden) {
    whole.add(here);
    build();
  }
  const made = at(`f-${name}`);
  made.hidden = false;
  at("answer").classList.remove("shown");
  made.scrollIntoView({ block: "center" });
  made.querySelector("button, input").focus();
}

/** Go to a step; with focus on its title where a person asked for it. */
function go(name, focus) {
  if (step()?.private) hush();
  here = name;
  begun.add(name);
  at("spine").classList.remove("shown");
  build();
  if (!focus) return;
  window.scrollTo(0, 0);
  at("title").focus({ preventScroll: true });
}

function rebuild() {
  head({
    order: order.name,
    ordered: (name) => {
      order = model.orders.find((one) => one.name === name);
      go(order.steps[0].name);
    },
    speaks: (language) => {
      speak(language);
      rebuild();
    },
    rebuild,
  });
  spine();
  build();
  document.title = t("title");
  for (const made of document.querySelectorAll("[data-t]")) made.textContent = t(made.dataset.t);
}

document.addEventListener("keydown", walk);
document.addEventListener("focusin", rove);
window.addEventListener("beforeunload", (event) => {
  if (kept.saved.changed && kept.anything()) event.preventDefault();
});

kept.watchers.add(() => {
  paintAll();
  soon();
});
inside({ redraw: paintAll });
begun.add(here);
rebuild();
soon(0);
