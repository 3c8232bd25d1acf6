// By keyboard: a row is one stop of Tab; arrows walk inside it and from row to row, and never record.
const at = (id) => document.getElementById(id);

const controls = (row) => [...row.querySelectorAll("button, input, select, summary")]
  .filter((one) => one.offsetParent !== null && (one.matches("summary") || !one.closest(".particulars")));
const rowsHere = () => [...at("work").querySelectorAll(".finding, .seen, .systems")].filter((one) => one.offsetParent !== null && controls(one).length);

/** Leave one stop of Tab in each row. */
export function rove() {
  for (const one of rowsHere()) {
    const all = controls(one);
    const on = all.find((each) => each === document.activeElement) ?? all.find((each) => each.tabIndex === 0) ?? all[0];
    for (const each of all) each.tabIndex = each === on ? 0 : -1;
  }
}

function climb(event) {
  const all = [...at("spine").querySelectorAll(".joint")];
  const to = all[all.indexOf(event.target.closest(".joint")) + ({ ArrowUp: -1, ArrowDown: 1 }[event.key] ?? 0)];
  if (!to || to === event.target) return;
  to.focus();
  event.preventDefault();
}

/** Walk by arrows, and by Enter out of a number that was typed. */
export function walk(event) {
  if (event.target.closest?.(".joint")) climb(event);
  const from = event.target.closest?.(".finding, .seen, .systems");
  if (!from || event.altKey || event.ctrlKey || event.metaKey) return;
  const typing = event.target.matches("input");
  const up = { ArrowUp: -1, ArrowDown: 1 }[event.key];
  const along = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
  if (event.target.closest(".particulars") && !event.target.matches("summary")) return;
  if (typing && event.key === "Enter") {
    event.target.dispatchEvent(new Event("change"));
    move(from, 1);
    event.preventDefault();
  } else if (up && !event.target.matches("select")) {
    move(from, up);
    event.preventDefault();
  } else if (along && !(typing && within(event.target, along))) {
    const all = controls(from);
    const to = all[all.indexOf(event.target) + along];
    if (to) focusOn(to);
    event.preventDefault();
  }
}

/** Whether an arrow still moves inside what is typed, and does not yet leave the field. */
function within({ selectionStart: start, selectionEnd: end, value }, along) {
  return start !== end || (along < 0 ? start > 0 : end < value.length);
}

function focusOn(to) {
  to.focus();
  rove();
}

function move(from, by) {
  const all = rowsHere();
  const to = all[all.indexOf(from) + by];
  if (!to) return;
  const inputs = to.querySelector("input[data-number]");
  focusOn(inputs ?? controls(to)[0]);
}
