// One finding as a row: its mark, its name, what is recorded; opened, every value of each side.
import { aside, current, findings, ownHere, record, recorded, sides, state, touchedAsExpected, visit } from "./kept.js";
import { clock, marked, particulars, readings } from "./more.js";
import { REASONS, labelOf, sided, words } from "./told.js";
import { told } from "./times.js";
import { button, element, lower, packed, pick, t, unitSaid } from "./words.js";

const chosenUnits = new Map();
let opened = null;

/** One recording in words; with its hour where it is one of several of today. */
function said(finding, one) {
  const several = recorded(finding.name).some((other) => other.older && other.side === one.side);
  return [words(finding, one), several && clock(one), ...marked(one)].filter(Boolean).join(", ");
}

/** What is recorded of a finding, sides apart where they differ; an unset side says so. */
function summed(finding) {
  const all = sides(finding).map((side) => [side, current(finding.name, side)]);
  if (all.every(([, one]) => !one)) return "";
  const [[, first], second] = all;
  if (!second) return said(finding, first);
  if (first && second[1] && said(finding, first) === said(finding, second[1])) return `${t("both")}: ${lower(said(finding, first))}`;
  return all.map(([side, one]) => `${sided(side)}: ${one ? lower(said(finding, one)) : t("not-examined")}`).join(" · ");
}

/** Beside numbers, which stand in their fields: why there is none, or what is to be said of the one that counts. */
function besideNumbers(finding) {
  const all = sides(finding).map((side) => current(finding.name, side)).filter(Boolean);
  const told = all.map((one) => (one.absent ? words(finding, one) : said(finding, { ...one, value: "", parts: null, unit: "" })));
  return [...new Set(told)].join(" · ").replace(/^[ ,]+/, "");
}

function option(finding, side, value, label, coarse) {
  const made = packed("button", label, coarse ? "value coarse" : "value");
  made.type = "button";
  Object.assign(made.dataset, { finding: finding.name, side, value });
  made.setAttribute("aria-pressed", "false");
  made.addEventListener("click", () => {
    const on = current(finding.name, side)?.value === value;
    record(finding.name, side, on ? null : { value });
  });
  return made;
}

function values(finding) {
  const rows = sides(finding).map((side) => {
    const row = element("div", null, "side");
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", [sided(side), pick(finding.label)].filter(Boolean).join(", "));
    if (side) row.append(element("span", sided(side), "which"));
    for (const one of finding.values) row.append(option(finding, side, one.value, one.label, one.coarse));
    return row;
  });
  return rows;
}

function reasons(finding) {
  const row = element("div", null, "side without");
  for (const [reason, key] of REASONS) {
    if (reason === "temp-unknown" && !finding.awaited) continue;
    const made = button(t(key), "value", () => {
      const on = sides(finding).every((side) => current(finding.name, side)?.absent === reason);
      for (const side of sides(finding)) {
        const there = current(finding.name, side);
        if (on || !there || there.absent) record(finding.name, side, on ? null : { absent: reason });
      }
    });
    Object.assign(made.dataset, { finding: finding.name, absent: reason });
    made.setAttribute("aria-pressed", "false");
    row.append(made);
  }
  return row;
}

function fill(body, finding) {
  const parts = finding.values ? values(finding) : [];
  const asked = finding.question ? [packed("p", finding.question, "question")] : [];
  body.replaceChildren(...asked, ...parts, reasons(finding), particulars(finding));
  press(body, finding);
}

function press(within, finding) {
  for (const one of within.querySelectorAll("button[data-finding]")) {
    const { side = "", value, absent } = one.dataset;
    const on = absent ? sides(finding).every((each) => current(finding.name, each)?.absent === absent) : current(finding.name, side)?.value === value;
    one.setAttribute("aria-pressed", String(on));
  }
}

// --- numbers: they count when the field is left, so that the 3 of 36.8 is never sent

function commit(finding, side, part, input, unit) {
  const typed = input.value.trim().replace(",", ".");
  const before = current(finding.name, side);
  if (part) {
    const parts = { ...before?.parts };
    if (typed) parts[part] = typed;
    else delete parts[part];
    record(finding.name, side, Object.keys(parts).length ? { parts, unit } : null);
  } else record(finding.name, side, typed ? { value: typed, unit } : null);
}

function numbers(finding) {
  const box = element("span", null, "numbers");
  const { units } = finding.number;
  const kind = units.map(([unit]) => unit).join();
  const there = recorded(finding.name).find((one) => one.unit);
  const unit = element("select");
  for (const [code, said] of units) unit.append(new Option(unitSaid(said) || t("number"), code));
  unit.value = there?.unit ?? chosenUnits.get(kind) ?? units[0][0];
  unit.setAttribute("aria-label", t("unit-of", { what: pick(finding.label) }));
  for (const place of finding.parts ?? sides(finding)) {
    const [side, part] = finding.parts ? ["", place] : [place, ""];
    const input = Object.assign(element("input"), { type: "text", inputMode: "decimal", size: 5, autocomplete: "off" });
    Object.assign(input.dataset, { number: finding.name, side, part });
    input.setAttribute("aria-label", [pick(finding.label), place && t(place)].filter(Boolean).join(", "));
    input.addEventListener("change", () => commit(finding, side, part, input, unit.value));
    if (place) box.append(element("span", t(place), "which"));
    box.append(input);
  }
  unit.addEventListener("change", () => {
    chosenUnits.set(kind, unit.value);
    for (const side of sides(finding)) {
      const one = current(finding.name, side);
      if (one && !one.absent) record(finding.name, side, { ...one, unit: unit.value });
    }
  });
  if (units.length > 1) box.append(unit);
  else box.append(element("span", unitSaid(units[0][1]), "unit"));
  return box;
}

function showNumbers(row, finding) {
  for (const input of row.querySelectorAll("input[data-number]")) {
    if (document.activeElement === input) continue;
    const one = current(finding.name, input.dataset.side);
    const value = input.dataset.part ? one?.parts?.[input.dataset.part] : one?.value;
    const plain = typeof value === "object" ? "" : value ?? "";
    if (input.value !== plain) input.value = plain;
  }
}

// --- the row

function speech(finding) {
  const box = element("div", null, "speech");
  box.id = `say-${finding.name}`;
  box.hidden = true;
  if (finding.how) {
    const how = element("p", null, "how");
    how.append(element("span", t("how"), "kind"), Object.assign(element("span", finding.how), { lang: "en" }));
    box.append(how);
  }
  if (finding.say) box.append(packed("p", finding.say, "say"));
  for (const [value, words] of Object.entries(finding.variant ?? {})) {
    const line = packed("p", words, "say");
    line.prepend(element("span", `${labelOf(finding, value)}: `, "kind"));
    box.append(line);
  }
  return box;
}

function toggle(shown, by, id) {
  by.setAttribute("aria-controls", id);
  by.setAttribute("aria-expanded", "false");
  by.addEventListener("click", () => {
    shown.hidden = !shown.hidden;
    by.setAttribute("aria-expanded", String(!shown.hidden));
  });
}

function fold(row, finding, body) {
  const made = element("button", null, "name");
  made.type = "button";
  made.setAttribute("aria-controls", body.id);
  made.setAttribute("aria-expanded", "false");
  made.append(packed("span", finding.label, "label"), element("span", "", "told"));
  made.addEventListener("click", () => {
    const opening = body.hidden;
    if (opened && opened !== row) close(opened);
    body.hidden = !opening;
    made.setAttribute("aria-expanded", String(opening));
    opened = opening ? row : null;
    if (opening) fill(body, finding);
  });
  return made;
}

function close(row) {
  const name = row.querySelector("button.name");
  row.querySelector(".body").hidden = true;
  name.setAttribute("aria-expanded", "false");
}

function markOf(finding) {
  if (finding.number || !finding.expected) {
    const still = element("span", null, "mark-place");
    still.append(element("span", null, "mark"));
    return still;
  }
  const made = element("button", null, "mark-place");
  made.type = "button";
  made.append(element("span", null, "mark"), element("span", "", "unseen"));
  made.addEventListener("click", () => touchedAsExpected(finding.name));
  return made;
}

function earlier(finding) {
  const all = visit.history.filter((one) => one.finding === finding.name);
  if (!all.length) return [];
  const list = element("ul", null, "earlier");
  for (const one of all.slice(-4)) {
    const text = [sided(one.side), lower(words(finding, one.item))].filter(Boolean).join(": ");
    list.append(element("li", `${told(one.item.time?.slice(0, 10))}. ${text}`));
  }
  return [list];
}

/** Build the row of a finding. */
export function row(name) {
  const finding = findings.get(name);
  const made = element("div", null, "finding");
  made.id = `f-${name}`;
  made.dataset.finding = name;
  made.setAttribute("role", "group");
  made.setAttribute("aria-label", pick(finding.label));
  const body = element("div", null, "body");
  body.id = `b-${name}`;
  body.hidden = true;
  const line = element("div", null, "line");
  line.append(markOf(finding), fold(made, finding, body));
  if (finding.number) line.append(numbers(finding));
  const said = speech(finding);
  if (said.childElementCount) {
    const say = button(t("say"), "plain tell");
    say.append(element("span", ` ${pick(finding.label)}`, "unseen"));
    toggle(said, say, said.id);
    line.append(say);
  }
  const wrong = element("p", null, "wrong");
  wrong.id = `w-${name}`;
  wrong.setAttribute("role", "alert");
  wrong.hidden = true;
  const theirs = element("p", null, "theirs");
  theirs.hidden = true;
  made.append(line, readings(finding), theirs, wrong, ...earlier(finding), body, ...(said.childElementCount ? [said] : []));
  return made;
}

/** Bring a row up to what is recorded and open. */
export function paint(row, open) {
  const name = row.dataset.finding;
  const finding = findings.get(name);
  const now = state(name);
  row.dataset.state = now;
  row.classList.toggle("open", Boolean(open));
  row.classList.toggle("grave", Boolean(open?.emergency));
  const text = finding.number ? "" : summed(finding);
  const by = recorded(name).find((one) => one.by)?.by;
  row.querySelector(".told").textContent = finding.number ? besideNumbers(finding) : text;
  row.querySelector(".told").classList.toggle("spread", Boolean(by));
  const mark = row.querySelector("button.mark-place .unseen");
  if (mark) mark.textContent = `${pick(finding.label)}: ${!ownHere(name) ? t("touch-expected", { value: lower(labelOf(finding, finding.expected)) }) : t("touch-back", { value: lower(text) })}`;
  const [also, list] = [row.querySelector(".readings"), readings(finding)];
  if (also.textContent !== list.textContent) also.replaceWith(list);
  const theirs = row.querySelector(".theirs");
  theirs.textContent = recorded(name).filter((one) => one.fields?.text).map((one) => t("theirs", { text: one.fields.text })).join(" ");
  theirs.hidden = !theirs.textContent;
  const problem = aside.get(name);
  const wrong = row.querySelector(".wrong");
  if (wrong.textContent !== (problem ?? "")) wrong.textContent = problem ?? "";
  wrong.hidden = !problem;
  for (const input of row.querySelectorAll("input[data-number]")) {
    input.toggleAttribute("aria-invalid", false);
    if (problem) input.setAttribute("aria-invalid", "true");
    if (problem) input.setAttribute("aria-describedby", wrong.id);
    else input.removeAttribute("aria-describedby");
  }
  showNumbers(row, finding);
  const body = row.querySelector(".body");
  if (!body.hidden && !body.contains(document.activeElement)) fill(body, finding);
  else if (!body.hidden) refresh(body, finding);
}

function refresh(body, finding) {
  press(body, finding);
  const focus = document.activeElement;
  const old = body.querySelector(".particulars");
  if (old && !old.contains(focus)) old.replaceWith(particulars(finding, old.open));
}
