// Clocks whose time is up are told on every page: a bar below, a tone and a buzz where the
// device allows it, more urgent the longer nobody comes. The server says which clocks run
// and what time it is; this device's own clock is not trusted.
"use strict";
(() => {
  if (!document.body.dataset.now) return;
  // Counted from the server's moment by a clock that nobody can set.
  let base = { server: Date.parse(document.body.dataset.now), counted: performance.now() };
  window.pourdayNow = () => base.server + performance.now() - base.counted;
  // A kept page carries an old moment: there the offset seen last is the best there is.
  const kept = document.body.dataset.kept;
  try {
    if (kept) base = { server: Date.now() + Number(localStorage.getItem("clock-offset") || 0), counted: performance.now() };
    else localStorage.setItem("clock-offset", String(Math.round(base.server - Date.now())));
  } catch { /* nothing is kept on this device */ }

  let clocks = [];
  const bar = document.createElement("aside");
  bar.className = "alarm";
  bar.setAttribute("aria-live", "assertive");
  bar.hidden = true;
  document.body.append(bar);
  // What the bar covers can still be scrolled clear of it.
  new ResizeObserver(() => document.body.style.setProperty("--alarm", `${bar.offsetHeight}px`)).observe(bar);

  let sound = null;
  const loud = () => { try { return localStorage.getItem("sound") === "on"; } catch { return false; } };
  const wake = () => { if (!loud()) return; sound ??= new AudioContext(); if (sound.state === "suspended") sound.resume(); };
  document.addEventListener("pointerdown", wake);
  document.addEventListener("keydown", wake);
  const tones = (n) => {
    // A browser lets a page shake the phone only once somebody has touched it.
    if (navigator.userActivation?.hasBeenActive ?? true) navigator.vibrate?.(Array(2 * n - 1).fill(250));
    if (!loud() || !sound || sound.state !== "running") return;
    for (let k = 0; k < n; k++) {
      const tone = sound.createOscillator(), volume = sound.createGain(), from = sound.currentTime + 0.35 * k;
      tone.frequency.value = 880;
      volume.gain.setValueAtTime(0.0001, from);
      volume.gain.exponentialRampToValueAtTime(0.4, from + 0.02);
      volume.gain.exponentialRampToValueAtTime(0.0001, from + 0.28);
      tone.connect(volume).connect(sound.destination);
      tone.start(from);
      tone.stop(from + 0.3);
    }
  };
  // How late it is: 0 runs, 1 up, 2 late, 3 very late. One that loses nothing stays at 1.
  const level = (clock, now) => {
    const late = (now - Date.parse(clock.due_at)) / 1000;
    return late < 0 ? 0 : !clock.loses || late < 120 ? 1 : late < 600 ? 2 : 3;
  };
  const every = [Infinity, Infinity, 20_000, 8_000];
  const title = document.title;
  const rung = new Map();
  const named = (clock) => `${clock.name.charAt(0).toUpperCase()}${clock.name.slice(1)}, ${clock.of}`;
  const look = () => {
    const now = window.pourdayNow();
    const up = clocks.map((clock) => ({ ...clock, level: level(clock, now) })).filter((clock) => clock.level > 0);
    let most = 0;
    for (const clock of up) {
      const last = rung.get(clock.id);
      if (!last || clock.level > last.level || now - last.at >= every[clock.level]) {
        rung.set(clock.id, { level: clock.level, at: now });
        // Opening a page on a clock that was up long before is no news.
        if (last || now - Date.parse(clock.due_at) < 5000 || clock.level > 1) tones(clock.level);
      }
      most = Math.max(most, clock.level);
    }
    // What a page tells itself, large, needs no bar above it.
    const second = (moment) => Math.floor(Date.parse(moment) / 1000);
    const shown = new Set(Array.from(document.querySelectorAll("main .clock[data-until]"), (time) => second(time.dataset.until)));
    const pressing = up.filter((clock) => clock.loses).sort((a, b) => b.level - a.level || a.due_at.localeCompare(b.due_at));
    const told = pressing.filter((clock) => !shown.has(second(clock.due_at)));
    bar.hidden = told.length === 0;
    bar.className = `alarm level-${most}`;
    const word = ["", "is up", "is late", "is very late: go and look"];
    const line = JSON.stringify(told.map((clock) => [clock.id, clock.level]));
    if (bar.dataset.line !== line) {
      bar.dataset.line = line;
      const links = told.map((clock) => {
        const link = Object.assign(document.createElement("a"), { href: clock.path, textContent: `${named(clock)} ${word[clock.level]}` });
        const time = document.createElement("time");
        time.dataset.until = clock.due_at;
        link.append(" ", time);
        return link;
      });
      if (links.length < 2) bar.replaceChildren(...links);
      else {
        const all = document.createElement("details"), head = document.createElement("summary"), list = document.createElement("div");
        all.open = bar.querySelector("details")?.open ?? false;
        head.append(`${links.length} clocks are up: ${named(told[0])} `, links[0].querySelector("time").cloneNode());
        list.append(...links);
        all.append(head, list);
        bar.replaceChildren(all);
      }
    }
    document.title = pressing.length ? `(${pressing.length}) ${title}` : title;
  };
  const ask = async () => {
    try {
      const sent = performance.now(), answer = await fetch("/timers/running", { headers: { Accept: "application/json" } });
      if (!answer.ok || answer.redirected) return;
      const { now, clocks: running } = await answer.json();
      base = { server: Date.parse(now) + (performance.now() - sent) / 2, counted: performance.now() };
      clocks = running;
      look();
    } catch { /* no network: the clocks known run on */ }
  };
  ask();
  setInterval(ask, 20_000);
  setInterval(look, 1000);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
  document.addEventListener("pourday:refreshed", ask);

  const words = () => { for (const button of document.querySelectorAll("button[data-sound]")) { button.hidden = false; button.textContent = loud() ? "Sound is on" : "Sound is off"; button.setAttribute("aria-pressed", String(loud())); } };
  document.addEventListener("click", (event) => {
    if (!event.target.closest("button[data-sound]")) return;
    try { localStorage.setItem("sound", loud() ? "off" : "on"); } catch { return; }
    wake();
    if (loud()) tones(1);
    words();
  });
  document.addEventListener("pourday:refreshed", words);
  words();

  // Where hands are not free the screen stays on, for as long as the page is looked at.
  if (!("wakeLock" in navigator)) return;
  let held = null;
  const awake = () => { try { return localStorage.getItem("awake") === "on"; } catch { return false; } };
  const hold = async () => {
    const button = document.querySelector("button[data-awake]");
    if (button) { button.hidden = false; button.textContent = awake() ? "Screen stays on" : "Screen may sleep"; button.setAttribute("aria-pressed", String(awake())); }
    if (!button || !awake()) { await held?.release(); held = null; return; }
    if (document.hidden || (held && !held.released)) return;
    held = await navigator.wakeLock.request("screen").catch(() => null);
  };
  document.addEventListener("click", (event) => {
    if (!event.target.closest("button[data-awake]")) return;
    try { localStorage.setItem("awake", awake() ? "off" : "on"); } catch { return; }
    hold();
  });
  document.addEventListener("visibilitychange", hold);
  document.addEventListener("pourday:refreshed", hold);
  hold();
})();
