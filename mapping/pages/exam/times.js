// Times on the site's clock: what is typed there becomes a moment with its offset, and is told in words.
import { model, spoken } from "./words.js";

const own = model.zone ?? Intl.DateTimeFormat().resolvedOptions().timeZone;
let zone = own;

/** The offset of the page's clock, where that is not the one of this device or site. */
export const foreign = () => (zone === own ? "" : zone);

/** Where no site says its zone, a visit from elsewhere brings its clock, as its answer does: one page has one clock. */
export function keepClock(at) {
  zone = own;
  const [, said] = /([+-]\d\d:\d\d)$/.exec((at ?? "").replace(/Z$/, "+00:00")) ?? [];
  if (model.zone || !said) return;
  const here = wall(new Date(at));
  if (offset(here.day, here.time) !== said) zone = said;
}

/** The wall clock of a moment in the site's zone: {day: "2026-11-24", time: "10:00"}. */
export function wall(moment) {
  const parts = new Intl.DateTimeFormat("en-CA", {
    timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  }).formatToParts(moment);
  const part = Object.fromEntries(parts.map((one) => [one.type, one.value]));
  return { day: `${part.year}-${part.month}-${part.day}`, time: `${part.hour}:${part.minute}` };
}

function offset(day, time) {
  const asked = Date.parse(`${day}T${time}:00Z`);
  let minutes = 0;
  // Twice, since beside a clock change the first guess may fall on its other side.
  for (let k = 0; k < 2; k += 1) {
    const seen = wall(new Date(asked - minutes * 60000));
    minutes = Math.round((Date.parse(`${seen.day}T${seen.time}:00Z`) - (asked - minutes * 60000)) / 60000);
  }
  const size = Math.abs(minutes);
  const two = (n) => String(n).padStart(2, "0");
  return `${minutes < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

/** Whether a day is wholly typed: the year of 05/15/0202 is on its way to 2026, and counts as nothing yet. */
export const whole = (day) => !day || day >= "1900";

/** A day and an hour of the site's clock as ISO 8601 with offset; a day alone where the hour is not known. */
export function written(day, time) {
  if (!day) return null;
  return time ? `${day}T${time}:00${offset(day, time)}` : day;
}

/** A time for people: "Mon, Nov 23, 10:20" as the language says it; a day alone stays a day. */
export function told(text) {
  if (!text) return "";
  const alone = /^\d{4}-\d{2}-\d{2}$/.test(text);
  const moment = new Date(alone ? `${text}T12:00:00Z` : text);
  if (Number.isNaN(moment.getTime())) return text;
  const form = { weekday: "short", day: "numeric", month: "short" };
  if (!alone) Object.assign(form, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  return new Intl.DateTimeFormat(spoken() === "es" ? "es-US" : "en-US", { timeZone: alone ? "UTC" : zone, ...form }).format(moment);
}
