// The head of the page: who is seen and when, the files, the order of work, the language.
import { answered } from "./answer.js";
import { familySheet, open, report, saveFhir, saveFlat } from "./files.js";
import * as kept from "./kept.js";
import { told, wall, whole } from "./times.js";
import { aged, button, element, model, pick, spoken, t } from "./words.js";

const at = (id) => document.getElementById(id);

function labelled(text, input) {
  const made = element("label", null, "field");
  made.append(element("span", text), input);
  return made;
}

function input(type, part, value) {
  const made = Object.assign(element("input"), { type, value, autocomplete: "off" });
  made.id = `head-${part}`;
  made.addEventListener("change", () => {
    if (type === "date" && !whole(made.value)) return;
    kept.visit[part] = made.value;
    if (part.startsWith("born")) delete kept.visit.born;
    else delete kept.visit.at;
    kept.aside.delete("born");
    kept.aside.delete("at");
    kept.changed();
  });
  return made;
}

function sexes() {
  const box = element("fieldset", null, "sexes");
  box.append(element("legend", t("sex")));
  for (const sex of ["female", "male", "unknown"]) {
    const made = button(t(sex), "value", () => {
      kept.visit.sex = kept.visit.sex === sex ? "" : sex;
      kept.changed();
    });
    made.dataset.sex = sex;
    box.append(made);
  }
  return box;
}

/** `kind`: this visit, an earlier one, or what the family told. */
function fileButton(text, kind, rebuild) {
  const made = element("label", text, "file plain");
  const chosen = Object.assign(element("input"), { type: "file", className: "unseen" });
  chosen.dataset.file = kind;
  chosen.addEventListener("change", async () => {
    const [file] = chosen.files;
    if (!file) return;
    const said = await open(file, kind);
    chosen.value = "";
    rebuild();
    say(said);
  });
  made.append(chosen);
  return made;
}

const say = (text) => { at("said").textContent = text; };

/** The form that the family fills in before the visit, in the language that is chosen. */
function formLink(key, apart) {
  const made = element("a", t(key), "plain link");
  return Object.assign(made, { href: `/form?language=${spoken()}${apart}`, target: "_blank", rel: "noopener" });
}

/** What the family asked stands on top of every step until somebody has answered. */
function paintAsks() {
  const place = at("asks");
  const open = kept.asks();
  place.hidden = !open.length;
  const lines = open.map(([finding, one]) => {
    const line = element("li");
    line.append(element("span", `${pick(finding.label)}: “${one.fields.text}”`));
    if (kept.settling(finding)) line.append(button(t("is-answered"), "value", () => kept.answer(finding, one)));
    return line;
  });
  const list = element("ul");
  list.append(...lines);
  if (list.textContent !== place.querySelector("ul")?.textContent) place.replaceChildren(element("h2", t("family-asks"), "unseen"), list);
}

/** What a group of actions is about, and the actions. */
function together(title, ...all) {
  const box = element("div", null, "together");
  box.setAttribute("role", "group");
  box.setAttribute("aria-label", title);
  box.append(element("span", title, "which"), ...all);
  return box;
}

function actions(rebuild) {
  const box = element("div", null, "actions");
  box.append(
    together(
      t("visit"),
      button(t("save-flat"), "plain", () => say(saveFlat())),
      button(t("save-fhir"), "plain", async () => say(await saveFhir())),
      fileButton(t("open-file"), "visit", rebuild),
      fileButton(t("open-earlier"), "earlier", rebuild),
      button(t("print"), "plain", async () => say(await report())),
    ),
    together(
      t("the-family"),
      formLink("family-form", ""),
      formLink("family-form-apart", "&apart=true"),
      fileButton(t("open-told"), "told", rebuild),
      button(t("family-sheet"), "plain", async () => say(await familySheet())),
    ),
  );
  return box;
}

function choice(label, choices, chosen, taken) {
  const select = element("select");
  for (const [value, text] of choices) select.append(new Option(text, value));
  select.value = chosen;
  select.addEventListener("change", () => taken(select.value));
  return labelled(label, select);
}

/** Build the head; `ordered` takes the name of another order of work, `speaks` another language. */
export function head({ order, ordered, speaks, rebuild }) {
  const open_ = at("who").querySelector("details")?.open ?? true;
  const box = element("details");
  box.open = open_;
  const title = element("summary");
  title.append(element("span", "", "whois"));
  const form = element("div", null, "head");
  form.append(
    labelled(t("born-on"), input("date", "bornDay", kept.visit.bornDay)),
    labelled(t("born-at"), input("time", "bornTime", kept.visit.bornTime)),
    labelled(t("seen-on"), input("date", "day", kept.visit.day)),
    labelled(t("seen-at"), input("time", "time", kept.visit.time)),
    sexes(),
  );
  const set = element("div", null, "settings");
  set.append(
    choice(t("order"), model.orders.map((one) => [one.name, pick(one.label)]), order, ordered),
    choice(t("language"), [["en", "English"], ["es", "Español"]], spoken(), speaks),
  );
  const wrong = element("p", null, "wrong");
  wrong.id = "wrong-head";
  wrong.setAttribute("role", "alert");
  const said = element("p", null, "said");
  said.id = "said";
  said.setAttribute("role", "status");
  box.append(title, form, wrong, set, actions(rebuild), said, element("p", t("keeps-nothing"), "fine"));
  const asks = Object.assign(element("section", null, "asks"), { id: "asks", hidden: true });
  asks.setAttribute("aria-label", t("family-asks"));
  at("who").replaceChildren(element("h1", t("title"), "unseen"), box, asks);
}

/** Bring the head up to what is known of the visit. */
export function paintHead() {
  const { visit, aside } = kept;
  const who = [visit.sex ? t(visit.sex) : t("sex-not-said"), aged(answered.last?.age ?? ""), visit.day ? t("seen", { when: told(visit.day) }) : ""];
  at("who").querySelector(".whois").textContent = visit.bornDay ? who.filter(Boolean).join(" · ") : t("who");
  for (const made of at("who").querySelectorAll("[data-sex]")) made.setAttribute("aria-pressed", String(visit.sex === made.dataset.sex));
  const wrong = [["born", t("born-on")], ["at", t("seen-on")]].filter(([part]) => aside.has(part)).map(([part, label]) => `${label}: ${aside.get(part)}`);
  if (visit.day > wall(new Date()).day) wrong.push(t("ahead"));
  if (at("wrong-head").textContent !== wrong.join(" ")) at("wrong-head").textContent = wrong.join(" ");
  paintAsks();
}
