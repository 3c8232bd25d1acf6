// The form of a family: counts what is still open, shows what comes up, and gives the answers as a file. Nothing is sent.
"use strict";
(() => {
  const form = document.getElementById("form");
  const questions = [...form.querySelectorAll("[data-finding]")];
  const chosen = (one) => one.querySelector("input[type=radio]:checked");
  const words = (one) => one.querySelector("textarea")?.value.trim() ?? "";
  const unit = (one) => one.querySelector("select")?.selectedOptions[0] ?? one.querySelector(".unit");

  function answer(one) {
    const number = one.querySelector("input[type=number]");
    if (number) return number.value === "" ? null : { value: number.value, unit: unit(one).dataset.unit ?? unit(one).value, reported: true };
    if (words(one)) return { value: "asked", text: words(one), reported: true };
    const radio = chosen(one);
    if (!radio) return null;
    return radio.dataset.absent ? { absent: radio.dataset.absent, reported: true } : { value: radio.value, reported: true };
  }

  const said = (name) => {
    const found = questions.find((one) => one.dataset.finding === name);
    return found && !found.hidden ? answer(found)?.value : undefined;
  };

  function holds(condition) {
    return Object.entries(condition).every(([key, wanted]) => {
      const parts = [].concat(wanted);
      if (key === "any") return parts.some(holds);
      if (key === "all") return parts.every(holds);
      if (key === "none") return !parts.some(holds);
      return parts.includes(said(key));
    });
  }

  function bringUp() {
    for (const one of questions) {
      if (one.dataset.after) one.hidden = !holds(JSON.parse(one.dataset.after));
      const most = unit(one)?.dataset.most;
      const number = one.querySelector("input[type=number]");
      if (number) number.max = most;
      const call = one.querySelector(".callnow");
      if (call) call.hidden = !(chosen(one) && "call" in chosen(one).dataset);
      one.classList.toggle("open", !one.hidden && !answer(one));
    }
    const open = questions.filter((one) => one.classList.contains("open")).length;
    document.getElementById("state").textContent = form.dataset.open.replace("{n}", open);
  }

  function now() {
    const at = new Date();
    const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, "0");
    const off = -at.getTimezoneOffset();
    const day = `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
    return `${day}T${two(at.getHours())}:${two(at.getMinutes())}:00${off < 0 ? "-" : "+"}${two(off / 60)}:${two(off % 60)}`;
  }

  function save(event) {
    event.preventDefault();
    const at = now();
    const born = document.getElementById("born")?.value;
    const told = questions.filter((one) => !one.hidden && answer(one)).map((one) => [one.dataset.finding, answer(one)]);
    const made = { layette_told: Number(form.dataset.told), at, ...(born ? { born } : {}), findings: Object.fromEntries(told) };
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([JSON.stringify(made, null, 1)], { type: "application/json" }));
    link.download = `${form.dataset.file}-${at.slice(0, 10)}.json`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    document.getElementById("state").textContent = form.dataset.saved;
  }

  for (const kind of ["input", "change"]) form.addEventListener(kind, bringUp);
  form.addEventListener("reset", () => setTimeout(bringUp));
  form.addEventListener("submit", save);
  document.getElementById("print").addEventListener("click", () => print());
  bringUp();
})();
