// While a price is being turned: sliders beside the numbers, and what comes of
// them at once. Nothing is kept; the server works it out as without scripts.
"use strict";
(() => {
  const form = document.getElementById("turn");
  const priced = document.getElementById("priced");
  if (!form || !priced) return;
  const reach = { margin_percent: [0, 80, 1], discount_percent: [0, 50, 1], overhead_percent: [0, 100, 1], deposit_percent: [0, 100, 1], bench_minutes: [0, 120, 1], set_up_minutes: [0, 240, 1], spares: [0, 10, 1], metal_loss_percent: [0, 20, 0.5] };
  for (const [name, [least, most, step]] of Object.entries(reach)) {
    const field = form.elements[name];
    if (!field || !field.labels?.length) continue;
    const slider = Object.assign(document.createElement("input"), { type: "range", min: least, max: most, step, className: "slide" });
    slider.value = Number(field.value.replace(",", ".")) || 0;
    slider.setAttribute("aria-label", field.labels[0].textContent);
    field.closest(".field").append(slider);
    slider.addEventListener("input", () => { field.value = slider.value; });
    field.addEventListener("input", () => { slider.value = Number(field.value.replace(",", ".")) || 0; });
  }
  // A field that is wrong has its message beside it, whether the page was sent or not.
  const mark = (wrong) => {
    for (const field of form.querySelectorAll(".field.wrong")) {
      const control = field.querySelector("[name]");
      if (control && !wrong.has(control.name)) {
        field.classList.remove("wrong");
        control.removeAttribute("aria-invalid");
        field.querySelector("p.error")?.remove();
      }
    }
    for (const [name, message] of wrong) {
      const control = form.elements[name];
      const field = control?.closest?.(".field");
      if (!field) continue;
      field.classList.add("wrong");
      control.setAttribute("aria-invalid", "true");
      control.setAttribute("aria-describedby", control.id + "-e");
      const told = field.querySelector("p.error") || field.appendChild(Object.assign(document.createElement("p"), { className: "error", id: control.id + "-e" }));
      told.textContent = message;
      for (let outer = field.closest("details"); outer; outer = outer.parentElement.closest("details")) outer.open = true;
    }
  };
  let waiting = null;
  let asked = 0;
  let wrong = new Map();
  const ask = async () => {
    waiting = null;
    const mine = ++asked;
    priced.classList.add("busy");
    const answer = await fetch(form.querySelector("[formaction]").formAction, { method: "POST", headers: { Accept: "text/html", "x-turning": "yes" }, body: new URLSearchParams(new FormData(form)) }).catch(() => null);
    if (mine !== asked) return;
    priced.classList.remove("busy");
    if (!answer?.ok && answer?.status !== 422) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const next = page.getElementById("priced");
    if (!next || mine !== asked) return;
    wrong = new Map([...next.querySelectorAll("[data-field]")].map((each) => [each.dataset.field, each.dataset.message]));
    mark(wrong);
    priced.querySelector(".unworked")?.remove();
    // The price before stays to be seen, greyed: it is not of the numbers that stand there now.
    form.parentElement.classList.toggle("stale", wrong.size > 0);
    if (wrong.size > 0) {
      priced.prepend(...next.childNodes);
      return;
    }
    const lines = document.getElementById("priced-lines");
    const unfolded = new Set([...form.parentElement.querySelectorAll("#priced details[id][open], #priced-lines details[id][open]")].map((d) => d.id));
    priced.replaceChildren(...next.childNodes);
    lines.replaceChildren(...(page.getElementById("priced-lines")?.childNodes ?? []));
    for (const id of unfolded) document.getElementById(id)?.setAttribute("open", "");
  };
  form.addEventListener("input", (event) => {
    if (event.target.name === "message") return;
    clearTimeout(waiting);
    waiting = setTimeout(ask, 120);
  });
  // As long as fields are known to be wrong, sending the form would only drop the price.
  form.addEventListener("submit", (event) => {
    if (waiting || wrong.size === 0) return;
    event.preventDefault();
    event.stopPropagation();
    form.querySelector(".field.wrong [name]")?.focus();
  }, true);
})();
