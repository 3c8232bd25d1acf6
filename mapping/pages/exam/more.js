// More of a finding: when it was found, who told it, how it was read, and its other readings.
import { another, current, record, recorded, remove, show, sides, visit } from "./kept.js";
import { sided, words } from "./told.js";
import { told, wall, whole, written } from "./times.js";
import { button, element, lower, pick, t } from "./words.js";

function field(label, input) {
  const made = element("label", null, "field");
  made.append(element("span", label), input);
  return made;
}

/** When it was found, who told it, how it was read, and the other readings: beside each side that is recorded. */
export function particulars(finding, shown = false) {
  const row = element("details", null, "particulars");
  row.open = shown;
  row.append(element("summary", t("particulars")));
  for (const side of sides(finding)) {
    const one = current(finding.name, side);
    if (!one) continue;
    // What is recorded by now, and not what was when this was drawn: it stays as it is while somebody types in it.
    const put = (fields) => {
      const now = current(finding.name, side) ?? one;
      const all = { ...now.fields, ...fields, origin: undefined };
      record(finding.name, side, { ...now, by: undefined, brought: now.brought && all.reported, fields: all });
    };
    if (side) row.append(element("span", sided(side), "which"));
    const at = one.fields?.time ? wall(new Date(one.fields.time)) : { day: visit.day, time: "" };
    const day = Object.assign(element("input"), { type: "date", value: at.day });
    const time = Object.assign(element("input"), { type: "time", value: one.fields?.time ? at.time : "" });
    const when = () => whole(day.value) && put({ time: time.value || day.value !== visit.day ? written(day.value, time.value) ?? undefined : undefined });
    // A field that is left by Tab changes before the next one has the focus: to draw then would take the next one away.
    day.addEventListener("change", () => setTimeout(when));
    time.addEventListener("change", () => setTimeout(when));
    row.append(field(t("found-on"), day), field(t("found-at"), time));
    for (const [name, choices] of Object.entries(finding.qualifier ?? {})) {
      const select = element("select");
      select.append(new Option(t("not-said"), ""));
      for (const [value, label] of choices) select.append(new Option(pick(label), value));
      select.dataset.qualifier = name;
      select.value = one.fields?.[name] ?? "";
      select.addEventListener("change", () => put({ [name]: select.value || undefined }));
      row.append(field(t(name), select));
    }
    const toldBy = Object.assign(element("input"), { type: "checkbox", checked: Boolean(one.fields?.reported) });
    toldBy.addEventListener("change", () => put({ reported: toldBy.checked || undefined }));
    row.append(field(t("told-by-family"), toldBy));
    const again = button(t("another-reading"), "plain", () => {
      again.closest(".finding").querySelector("button.name").focus();
      another(finding.name, side);
    });
    again.dataset.another = finding.name;
    if (!one.absent) row.append(again);
  }
  row.hidden = row.childElementCount === 1;
  return row;
}

/** How sure a recording is and who made it, where that is not the examiner's own look. */
export const marked = (one) => [one.fields?.reported && t("told-by-family"), one.fields?.status === "preliminary" && t("preliminary")]
  .filter(Boolean).map(lower);

/** When a recording was made: the hour alone on the day of the visit. */
export const clock = (one) => {
  const time = one.fields?.time ?? visit.at ?? written(visit.day, visit.time) ?? "";
  return time.length > 10 && wall(new Date(time)).day === visit.day ? wall(new Date(time)).time : told(time);
};

/** The other readings of today, each to be changed or taken away; the row itself shows the latest. */
export function readings(finding) {
  const list = element("ul", null, "readings");
  list.setAttribute("aria-label", t("also-today"));
  for (const one of recorded(finding.name).filter((one) => one.older)) {
    const text = [sided(one.side), words(finding, one), clock(one), ...marked(one)].filter(Boolean).join(", ");
    const line = element("li");
    const back = (made) => made.closest(".finding").querySelector("button.name").focus();
    const change = button(t("change"), "plain", () => { back(change); show(finding.name, one); });
    const off = button(t("remove"), "plain", () => { back(off); remove(finding.name, one); });
    for (const made of [change, off]) made.append(element("span", ` ${text}`, "unseen"));
    line.append(element("span", text), change, off);
    list.append(line);
  }
  return list;
}
