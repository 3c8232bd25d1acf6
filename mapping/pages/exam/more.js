// More of a finding: when it was found, who told it, how it was read, and its other readings.
import { another, current, record, recorded, remove, sides, visit } from "./kept.js";
import { sided, words } from "./told.js";
import { told, wall, whole, written } from "./times.js";
import { button, element, pick, t } from "./words.js";

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
      record(finding.name, side, { ...now, by: undefined, fields: { ...now.fields, ...fields, origin: undefined } });
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

export function readings(finding) {
  const list = element("ul", null, "readings");
  const also = recorded(finding.name).filter((one) => one.older);
  for (const one of also) {
    const text = [sided(one.side), words(finding, one), told(one.fields?.time)].filter(Boolean).join(", ");
    const line = element("li", text);
    line.append(button(t("remove"), "plain", () => remove(finding.name, one)));
    list.append(line);
  }
  return also.length ? [list] : [];
}
