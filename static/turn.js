// While a price is being turned: sliders beside the numbers, and what comes of
// them at once. Nothing is kept; the server works it out as without scripts.
"use strict";
(() => {
  const form = document.getElementById("turn");
  const priced = document.getElementById("priced");
  if (!form || !priced) return;
  const reach = { margin_percent: [0, 80, 1], discount_percent: [0, 50, 1], overhead_percent: [0, 100, 1], deposit_percent: [0, 100, 5], bench_minutes: [0, 120, 5], set_up_minutes: [0, 240, 5], spares: [0, 10, 1], metal_loss_percent: [0, 20, 0.5] };
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
  let waiting = null;
  let asked = 0;
  const ask = async () => {
    waiting = null;
    const mine = ++asked;
    priced.classList.add("busy");
    const answer = await fetch(form.querySelector("[formaction]").formAction, { method: "POST", headers: { Accept: "text/html", "x-turning": "yes" }, body: new URLSearchParams(new FormData(form)) }).catch(() => null);
    if (mine !== asked) return;
    priced.classList.remove("busy");
    // What cannot be worked out yet is told when the form is sent.
    if (!answer?.ok) return;
    const next = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("priced");
    if (!next || mine !== asked) return;
    const unfolded = new Set([...priced.querySelectorAll("details[id][open]")].map((d) => d.id));
    priced.replaceChildren(...next.childNodes);
    for (const id of unfolded) document.getElementById(id)?.setAttribute("open", "");
  };
  form.addEventListener("input", (event) => {
    if (event.target.name === "message") return;
    clearTimeout(waiting);
    waiting = setTimeout(ask, 120);
  });
})();
