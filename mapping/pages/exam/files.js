// Opening and saving: every file is read by the server, and nothing is kept anywhere but in the file itself.
import { anything, aside, flat, join, remember, saved, take, visit } from "./kept.js";
import { foreign, written } from "./times.js";
import { button, count, element, spoken, t } from "./words.js";

async function read(file, earlier) {
  const born = visit.born ?? visit.bornDay;
  const chosen = new URLSearchParams({ ...(earlier ? { as: "earlier" } : {}), ...(born ? { born } : {}) });
  const reply = await fetch(`/exam/open?${chosen}`, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: file });
  const content = await reply.json();
  if (reply.ok) return content;
  throw new Error((content.problems ?? []).map((one) => `${one.path}: ${one.message}`).join(" · ") || String(reply.status));
}

/** Open a file as this visit, put it beside as an earlier one, or take in what the family told; says what came of it. */
export async function open(file, kind) {
  const earlier = kind === "earlier";
  let came = 0;
  try {
    const opened = await read(file, earlier);
    if (opened.told) return count("told-joined", join(opened));
    if (kind === "told") return t("not-told");
    if (earlier) {
      const why = notBefore(opened);
      if (why) return t("not-opened", { why });
      came = remember(opened);
    } else {
      if (saved.changed && anything() && !window.confirm(t("replace"))) return t("kept-page");
      take(opened);
    }
    const clock = !earlier && foreign() ? [t("clock", { zone: `UTC${foreign()}` })] : [];
    return [earlier ? count("put-beside", came) : count("opened", opened.records.length), ...clock, ...(opened.notices ?? [])].join(" ");
  } catch (error) {
    return t("not-opened", { why: error.message });
  }
}

/** Why a file is no earlier visit of the baby on the page; nothing where it may be one. */
function notBefore({ at, sex }) {
  const [here, known] = [visit.at ?? written(visit.day, visit.time), ["female", "male"]];
  if (here && Date.parse(at) > Date.parse(here)) return t("is-later");
  return known.includes(sex) && known.includes(visit.sex) && sex !== visit.sex ? t("other-sex") : "";
}

/** Send the visit somewhere; nothing where the server is not reached. */
async function post(path, content) {
  try {
    return await fetch(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(content) });
  } catch {
    return null;
  }
}

function give(content, name, kind) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([content], { type: kind }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

const named = (end) => `visit-${visit.day || "undated"}.${end}`;

export function saveFlat() {
  give(JSON.stringify(flat({ everything: true }), null, 1), named("json"), "application/json");
  saved.changed = false;
  return t("saved");
}

export async function saveFhir() {
  const reply = await post("/exam/fhir", flat());
  if (!reply?.ok) return t("not-saved");
  give(await reply.text(), named("fhir.json"), "application/fhir+json");
  const left = leftOut();
  if (!left.length) saved.changed = false;
  return [t("saved"), ...left].join(" ");
}

/** What of the visit FHIR does not hold, each as a sentence: it is lost when the page is closed, unless saved as a file. */
function leftOut() {
  return [
    [Object.keys(visit.rest.history ?? {}).length > 0, t("without-orders")],
    [aside.size > 0, count("without-wrong", aside.size)],
  ].filter(([there]) => there).map(([, text]) => text);
}

export const report = () => show("/report");
export const familySheet = () => show(`/family-sheet?language=${spoken()}`);

/** Show a page that the server makes of the visit, ready to print: the report, or the sheet that the family keeps. */
async function show(path) {
  const reply = await post(path, flat({ told: true }));
  if (!reply) return t("unreached");
  if (!reply.ok) return t("no-report");
  const place = URL.createObjectURL(new Blob([await reply.text()], { type: "text/html" }));
  const sheet = element("dialog", null, "sheet");
  const frame = Object.assign(element("iframe"), { src: place, title: t("sheet") });
  const done = () => sheet.close();
  sheet.append(button(t("print-it"), "next", () => frame.contentWindow.print()), button(t("close"), "plain", done), frame);
  sheet.addEventListener("close", () => {
    URL.revokeObjectURL(place);
    sheet.remove();
  });
  document.body.append(sheet);
  sheet.showModal();
  return "";
}
