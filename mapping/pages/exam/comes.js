// What comes up on the page: layout alone, never what is to be examined.
import { aside, findings, recorded, visit } from "./kept.js";

let measured = {};
export const measures = (values) => { measured = values; };

const base = (name, one) => {
  const unit = findings.get(name).number?.units.find(([unit]) => unit === one.unit) ?? [null, "", 1, 0];
  return Number(one.value) * unit[2] + unit[3];
};
const within = (x, bounds) => (bounds.at_least === undefined || x >= bounds.at_least) && (bounds.more_than === undefined || x > bounds.more_than)
  && (bounds.at_most === undefined || x <= bounds.at_most) && (bounds.below === undefined || x < bounds.below);

function meets(key, wanted) {
  const [name, view] = key.split(".");
  if (name === "sex_at_birth") return !sexKnown() || [].concat(wanted).includes(visit.sex);
  if (measured[name]) return within(Number(measured[name][1]), wanted);
  const finding = findings.get(name);
  if (!finding) return false;
  const all = view === "earlier" ? visit.history.filter((one) => one.finding === name).map((one) => one.item) : recorded(name);
  const told = all.filter((one) => !one.absent && (!["left", "right"].includes(view) || one.side === view));
  if (wanted.recorded) return told.length > 0;
  if (typeof wanted === "object" && !Array.isArray(wanted)) return told.some((one) => within(base(name, one), wanted));
  const coarse = told.some((one) => ["abnormal", ...finding.values.filter((v) => v.coarse).map((v) => v.value)].includes(one.value));
  return coarse || told.some((one) => [].concat(wanted).includes(one.value));
}

export function holds(condition) {
  return Object.entries(condition).every(([key, wanted]) => {
    const parts = [].concat(wanted);
    if (key === "any") return parts.some(holds);
    if (key === "all") return parts.every(holds);
    if (key === "none") return !parts.some(holds);
    return meets(key, wanted);
  });
}

export const applies = (name) => !findings.get(name).applies || holds(findings.get(name).applies);
export const sexKnown = () => ["male", "female"].includes(visit.sex);
export const hangsOnSex = (name) => "sex_at_birth" in (findings.get(name).applies ?? {});
export function comesUp(name) {
  const finding = findings.get(name);
  if (recorded(name).length || aside.has(name)) return true;
  if (!applies(name)) return false;
  return finding.ask !== "after" || !finding.after || holds(finding.after);
}
