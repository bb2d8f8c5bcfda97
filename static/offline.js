// The page's side of working without a network: says whether the page is current, what has
// not been sent yet, and what was turned down. The work is done in sw.js.
"use strict";
(() => {
  const who = document.body.dataset.who;
  if (!("serviceWorker" in navigator) || !who) return;
  navigator.serviceWorker.register("/sw.js").catch(() => {});
  const say = (message) => navigator.serviceWorker.ready.then((ready) => ready.active?.postMessage(message));
  say({ who, look: true });

  const kept = Number(document.body.dataset.kept || 0);
  const time = (at) => new Date(at).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  if (kept) {
    const notice = document.createElement("p");
    notice.className = "notice kept";
    notice.setAttribute("role", "status");
    notice.textContent = `No connection. This page is as it was at ${time(kept)}; what you record is kept and sent later.`;
    document.querySelector("main")?.prepend(notice);
    // A kept page's keys may have been used; what is recorded from now on is new.
    for (const once of document.querySelectorAll("input[name=once]")) once.value = crypto.randomUUID();
  }

  // What a kept form was about, in the words of its button.
  document.addEventListener("submit", (event) => {
    const form = event.target, once = form.querySelector("input[name=once]");
    if (form.method !== "post" || !once) return;
    const line = form.closest("article, li"), head = document.querySelector("h1:not(.sr)")?.textContent || document.title;
    const step = line?.querySelector(".bench-step-head > b, .clock-what")?.textContent;
    const thing = line?.querySelector(".ask-what")?.textContent || (step ? `${step}, ${head}` : head);
    const button = event.submitter?.textContent || "";
    navigator.serviceWorker.controller?.postMessage({ once: once.value, words: `${thing.trim()}: ${button.trim()}`.replace(/\s+/g, " ") });
  }, true);

  // A clock of work that was started and not sent yet runs here all the same, and is stopped by
  // forms that follow it in the outbox.
  const clocks = (forms) => {
    for (const built of document.querySelectorAll("main [data-kept-clock]")) built.remove();
    for (const start of document.querySelectorAll("main form[action$='/start-clock']")) {
      const step = start.action.replace(/\/start-clock$/, "");
      const last = forms.filter((form) => !form.refused && (form.action === step || form.action.startsWith(`${step}/`))).pop();
      if (last?.action !== start.action) continue;
      const now = window.pourdayNow?.() ?? Date.now(), since = new Date(now - Math.max(0, Date.now() - last.at)).toISOString();
      const running = element("div", "", "bench-step-clock"), clock = element("time", "", "clock");
      running.dataset.keptClock = "";
      clock.dataset.since = clock.dateTime = since;
      running.append(clock);
      for (const [action, words, look] of [[step, "Stop and record", "button primary"], [`${step}/stop-clock`, "Stop", "button"]]) {
        const form = start.cloneNode(true), button = form.querySelector("button");
        form.setAttribute("action", new URL(action).pathname);
        delete form.dataset.single;
        delete form.dataset.sent;
        form.querySelector("input[name=once]").value = crypto.randomUUID();
        button.className = look;
        button.disabled = false;
        delete button.dataset.words;
        button.textContent = words;
        button.removeAttribute("aria-label");
        running.append(form);
      }
      const line = start.closest("li");
      line?.insertBefore(running, line.querySelector(":scope > details"));
    }
  };

  const bar = document.createElement("section");
  bar.className = "outbox";
  bar.setAttribute("aria-live", "polite");
  bar.hidden = true;
  document.querySelector("main")?.before(bar);
  const element = (name, text, className) => Object.assign(document.createElement(name), { textContent: text, className: className || "" });
  let waiting = 0, typed = false;
  document.addEventListener("input", () => { typed = true; });
  const show = (forms) => {
    waiting = forms.filter((form) => !form.refused).length;
    bar.hidden = forms.length === 0;
    bar.replaceChildren();
    if (waiting) {
      const head = element("p", waiting === 1 ? "1 step is not sent yet" : `${waiting} steps are not sent yet`, "outbox-head");
      const now = element("button", "Send now", "button");
      now.addEventListener("click", () => say({ look: true }));
      head.append(now);
      bar.append(head);
    }
    const list = document.createElement("ol");
    for (const form of forms) {
      const item = element("li", `${time(form.at)} ${form.words}`);
      if (form.who !== who) item.append(element("span", ` (waits until ${form.who} signs in)`, "soft"));
      if (form.refused) {
        item.className = "turned-down";
        item.append(element("p", `Turned down: ${form.refused}`, "error"));
        const look = element("a", "Look at it as it is now", "button");
        look.href = new URL(form.action).pathname.replace(/\/[^/]*$/, "");
        const aside = element("button", "Put aside", "button quiet");
        aside.addEventListener("click", () => say({ aside: form.n }));
        item.append(look, aside);
      }
      list.append(item);
    }
    bar.append(list);
    clocks(forms);
    // A step that is kept is not offered a second time.
    for (const form of document.querySelectorAll("main form[method=post]")) {
      const version = form.querySelector("input[name=version]")?.value, single = "single" in form.dataset;
      const same = (version !== undefined || single) && forms.some((each) => !each.refused && each.action === form.action && (single || each.version === version));
      for (const button of form.querySelectorAll("button")) {
        if (same && !button.dataset.words) { button.dataset.words = button.textContent; button.textContent = "Kept, not sent yet"; button.disabled = true; }
        if (!same && button.dataset.words) { button.textContent = button.dataset.words; delete button.dataset.words; button.disabled = false; }
      }
    }
  };
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (!event.data?.outbox) return;
    show(event.data.outbox);
    // What was sent changed what is shown; a page that was kept can be current again.
    if (event.data.sent && waiting === 0 && !typed) location.reload();
  });
  window.addEventListener("online", () => say({ look: true }));
  document.addEventListener("visibilitychange", () => { if (!document.hidden) say({ look: true }); });
  document.addEventListener("pourday:refreshed", () => say({ look: true }));
  setInterval(() => { if (waiting) say({ look: true }); }, 5000);
})();
