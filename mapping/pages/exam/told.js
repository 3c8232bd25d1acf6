// A recording in words.
import { pick, t, unitSaid } from "./words.js";

/** Why there is no value, as FHIR says it, and as the page does. */
export const REASONS = [["not-performed", "could-not"], ["asked-declined", "declined"], ["unknown", "not-known"], ["temp-unknown", "not-back"], ["not-applicable", "does-not-apply"]];

export const labelOf = (finding, value) => pick(finding.values?.find((one) => one.value === value)?.label) || String(value).replaceAll("_", " ");
export const sign = (finding, unit) => unitSaid(finding.number?.units.find(([one]) => one === unit)?.[1] ?? unit ?? "");
export const sided = (side) => (side ? t(side) : "");

/** What one recording says, in words. */
export function words(finding, one) {
  if (one.absent) return t(REASONS.find(([reason]) => reason === one.absent)?.[1] ?? one.absent);
  if (one.parts) return Object.entries(one.parts).filter(([, n]) => n).map(([part, n]) => `${t(part)} ${n}`).join(", ") + ` ${sign(finding, one.unit)}`;
  if (one.value && typeof one.value === "object") {
    const bounds = Object.entries(one.value).map(([bound, n]) => `${t(bound)} ${[].concat(n).join("–")}`);
    return `${bounds.join(", ")} ${sign(finding, one.unit)}`;
  }
  return finding.number ? `${one.value} ${sign(finding, one.unit)}`.trim() : labelOf(finding, one.value);
}
