// Keeps an open page current: when something it shows has changed, the page is
// fetched again and its content replaced, unless somebody is typing in it.
"use strict";
(() => {
  const main = document.querySelector("main[data-live]");
  if (main && "EventSource" in window) {
    const topics = new Set(main.dataset.live.split(" ").filter(Boolean));
    // Somebody is typing as long as something typed stands in a field.
    let touched = false;
    document.addEventListener("input", (event) => { if (main.contains(event.target)) touched = true; });
    const differs = (field) =>
      field.type === "hidden" || field.disabled ? false
      : field.type === "checkbox" || field.type === "radio" ? field.checked !== field.defaultChecked
      : field.tagName === "SELECT" ? [...field.options].some((option, n) => option.selected !== (option.defaultSelected || (n === 0 && !field.multiple && ![...field.options].some((each) => each.defaultSelected))))
      : field.value !== field.defaultValue;
    const typing = () => {
      touched &&= [...main.querySelectorAll("input, textarea, select")].some(differs);
      return touched;
    };
    // What can be done on a page, and to what as it was: another person's step changes it.
    const stands = (of) => JSON.stringify([
      of.querySelector("h1")?.textContent,
      ...[...of.querySelectorAll("form[method=post]")].filter((form) => !form.closest("[data-kept-clock]")).map((form) => [form.getAttribute("action"), form.querySelector("input[name=version], input[name=quote]")?.value]),
    ]);
    const meanwhile = () => {
      if (main.querySelector(".meanwhile")) return;
      const notice = document.createElement("p"), show = document.createElement("button");
      notice.className = "notice meanwhile";
      notice.setAttribute("role", "status");
      show.className = "button";
      show.type = "button";
      show.textContent = "Show it as it is now";
      show.addEventListener("click", () => location.reload());
      notice.append("This has changed since you began to type. What you typed still stands here; sent now it may be turned down. ", show);
      main.prepend(notice);
    };
    let waiting = null;
    const refresh = async () => {
      waiting = null;
      if (document.hidden || main.querySelector(".dragging")) return;
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } }).catch(() => null);
      if (!answer?.ok || answer.redirected) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const next = page.querySelector("main");
      if (!next) return;
      if (typing()) { if (stands(next) !== stands(main)) meanwhile(); return; }
      // What was unfolded stays unfolded, and the focus stays where it was.
      const unfolded = new Set([...main.querySelectorAll("details[id][open]")].map((d) => d.id));
      const figures = () => [...main.querySelectorAll("details.working:not([id])")];
      const opened = figures().flatMap((d, n) => (d.open ? [[n, d.firstElementChild.textContent]] : []));
      const focused = document.activeElement?.id;
      main.replaceChildren(...next.childNodes);
      for (const id of unfolded) document.getElementById(id)?.setAttribute("open", "");
      const anew = figures();
      for (const [n, figure] of opened) if (anew[n]?.firstElementChild.textContent === figure) anew[n].open = true;
      if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
      document.dispatchEvent(new CustomEvent("pourday:refreshed"));
    };
    const source = new EventSource(main.dataset.liveFrom || "/live");
    source.onmessage = (event) => {
      const topic = event.data.split(":")[0];
      if (topic !== "all" && !topics.has(topic)) return;
      if (topic === "all" && !source.opened) { source.opened = true; return; }
      if (!waiting) waiting = setTimeout(refresh, 150);
    };
    // A stream that was lost has missed something: one look catches up.
    let lost = false;
    source.onerror = () => { lost = true; };
    // So has a page that shows something at work, when that ended before the stream began.
    let first = true;
    source.onopen = () => { const waits = first && main.querySelector("[data-waits]"); first = false; if ((lost || waits) && !waiting) waiting = setTimeout(refresh, 50); lost = false; };
    // Where the stream does not get through, the page asks instead.
    setInterval(() => { if (source.readyState !== EventSource.OPEN && !waiting) waiting = setTimeout(refresh, 50); }, 5_000);
    document.addEventListener("visibilitychange", () => { if (!document.hidden && !waiting) waiting = setTimeout(refresh, 50); });
  }

  // A row of rooms that is wider than the screen shows the one that is open.
  const room = document.querySelector(".rooms a[aria-current]");
  if (room) room.parentElement.scrollLeft = room.offsetLeft - (room.parentElement.clientWidth - room.offsetWidth) / 2 - room.parentElement.offsetLeft;

  // Running clocks: the server says when they end, the page only counts.
  const clocks = () => {
    for (const clock of document.querySelectorAll("time[data-until]")) {
      const left = Math.round((Date.parse(clock.dataset.until) - (window.pourdayNow?.() ?? Date.now())) / 1000);
      const shown = Math.abs(left);
      const two = (n) => String(n).padStart(2, "0");
      const hours = Math.floor(shown / 3600);
      if (left <= 0 && "least" in clock.dataset) { clock.textContent = "ready"; continue; }
      // Days are not counted by the second.
      clock.textContent = (left < 0 ? "over by " : "") + (hours >= 48 ? Math.floor(hours / 24) + " days" : (hours ? hours + ":" : "") + two(Math.floor(shown / 60) % 60) + ":" + two(shown % 60));
      clock.classList.toggle("over", left < 0);
    }
    // Clocks of work count up.
    for (const clock of document.querySelectorAll("time[data-since]")) {
      const worked = Math.max(0, Math.round(((window.pourdayNow?.() ?? Date.now()) - Date.parse(clock.dataset.since)) / 1000));
      const two = (n) => String(n).padStart(2, "0");
      clock.textContent = (worked >= 3600 ? Math.floor(worked / 3600) + ":" : "") + two(Math.floor(worked / 60) % 60) + ":" + two(worked % 60);
    }
  };
  if (document.querySelector("time[data-until], time[data-since]")) clocks();
  setInterval(clocks, 1000);

  // A button pressed twice is pressed once. The form's key guards the rest.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post") return;
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
    setTimeout(() => delete form.dataset.sent, 4000);
  });

  // Choose-all boxes and buttons that print.
  document.addEventListener("change", (event) => {
    const all = event.target.closest("input[data-all]");
    if (all) for (const box of document.querySelectorAll(`input[name="${all.dataset.all}"]`)) box.checked = all.checked;
  });
  document.addEventListener("click", async (event) => {
    if (event.target.closest("button[data-print]")) window.print();
    const copy = event.target.closest("button[data-copy]");
    if (copy) {
      await navigator.clipboard?.writeText(copy.dataset.copy);
      copy.textContent = "Copied";
    }
  });
})();
