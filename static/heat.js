// Reading a heat line: a pointer or the arrow keys move along it, and what every curve
// says there stands below the drawing. The words come with the page.
"use strict";
(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const make = (name, parent, attributes) => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    parent.append(element);
    return element;
  };
  const begin = (figure) => {
    const svg = figure.querySelector("svg"), area = figure.querySelector(".scroll"), reading = figure.querySelector(".heat-reading");
    if (figure.dataset.ready || !svg || !reading) return;
    figure.dataset.ready = "yes";
    let stops = [], at = -1;
    const cursor = make("g", svg, { class: "cursor", visibility: "hidden" });
    const line = make("line", cursor, { y1: 20, y2: 270 });
    const collect = () => {
      stops = [...svg.querySelectorAll(".stop")].map((stop) => {
        const title = stop.querySelector("title");
        return { x: Number(stop.dataset.x), ys: stop.dataset.y.split(" ").filter(Boolean).map(Number), words: title?.textContent ?? "", link: stop.querySelector("a") };
      });
      svg.append(cursor);
    };
    const show = (n) => {
      at = Math.max(0, Math.min(stops.length - 1, n));
      const stop = stops[at];
      if (!stop) return;
      cursor.setAttribute("visibility", "visible");
      line.setAttribute("x1", stop.x);
      line.setAttribute("x2", stop.x);
      while (cursor.childNodes.length > 1) cursor.lastChild.remove();
      for (const y of stop.ys) make("circle", cursor, { cx: stop.x, cy: y, r: 3.5 });
      reading.hidden = false;
      reading.textContent = stop.words;
    };
    const nearest = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      let best = 0;
      stops.forEach((stop, n) => { if (Math.abs(stop.x - point.x) < Math.abs(stops[best].x - point.x)) best = n; });
      return best;
    };
    svg.addEventListener("pointermove", (event) => { if (!svg.classList.contains("dragging")) show(nearest(event)); });
    svg.addEventListener("pointerdown", (event) => show(nearest(event)));
    area.addEventListener("keydown", (event) => {
      const to = { ArrowLeft: at - 1, ArrowRight: at + 1, PageUp: at - 12, PageDown: at + 12, Home: 0, End: stops.length - 1 }[event.key];
      if (event.key === "Enter" && stops[at]?.link) { location.href = stops[at].link.href.baseVal ?? stops[at].link.href; return; }
      if (to === undefined || event.altKey || event.ctrlKey || event.metaKey) return;
      event.preventDefault();
      show(to);
      // The cursor stays in sight where the drawing is wider than the screen.
      const box = line.getBoundingClientRect(), seen = area.getBoundingClientRect();
      if (box.left < seen.left + 40) area.scrollLeft -= seen.left + 40 - box.left;
      if (box.left > seen.right - 40) area.scrollLeft += box.left - seen.right + 40;
    });
    figure.addEventListener("pourday:redrawn", collect);
    collect();
  };
  const all = () => document.querySelectorAll("figure[data-heat]").forEach(begin);
  all();
  document.addEventListener("pourday:refreshed", all);
})();

// A corner of a programme is moved: the server computes what follows, the page shows it. The
// same is done without a script by typing the numbers.
(() => {
  const start = (figure) => {
    if (figure.dataset.moves || !figure.dataset.ask) return;
    figure.dataset.moves = "yes";
    document.querySelectorAll("[data-drag-hint]").forEach((hint) => { hint.hidden = false; });
    const svg = figure.querySelector("svg");
    let held = null, busy = false, next = null;
    const fields = () => new URLSearchParams(new FormData(document.querySelector("#programme form")));
    const replace = (text, settle) => {
      const page = new DOMParser().parseFromString(text, "text/html");
      const fresh = page.querySelector("#tried figure[data-heat] svg");
      if (!fresh) return;
      svg.replaceChildren(...fresh.childNodes);
      const from = page.querySelector("#tried figure[data-heat]").dataset;
      for (const key of ["perMinute", "perDegree", "span"]) figure.dataset[key] = from[key];
      for (const id of ["verdict", "found", ...(settle ? ["programme"] : [])]) {
        const now = document.getElementById(id), then = page.getElementById(id);
        if (now && then) now.replaceWith(then);
      }
      if (!settle) for (const input of page.querySelectorAll("#programme .editor-lines input")) {
        const same = document.getElementById(input.id);
        if (same) same.value = input.value;
      }
      figure.dispatchEvent(new CustomEvent("pourday:redrawn"));
    };
    const ask = async (settle) => {
      if (busy) { next = settle; return; }
      busy = true;
      const query = new URLSearchParams(held.begun);
      query.set("line", held.line);
      query.set("to_minute", held.minute);
      query.set("to_c", held.celsius);
      if (!settle) query.set("span", held.span);
      const answer = await fetch(`${figure.dataset.ask}?${query}`).catch(() => null);
      if (answer?.ok) replace(await answer.text(), settle);
      busy = false;
      if (next !== null) { const settled = next; next = null; ask(settled); }
    };
    svg.addEventListener("pointerdown", (event) => {
      const knot = event.target.closest(".knot");
      if (!knot) return;
      event.preventDefault();
      // The drawing is redrawn to other scales while the corner moves, so it moves by as much as
      // the pointer has gone, on the scale on which it was taken hold of.
      const scale = svg.getScreenCTM().a;
      held = {
        line: knot.dataset.line,
        begun: fields(),
        span: Number(figure.dataset.span) * 1.25,
        from: [event.clientX, event.clientY],
        minutes: knot.cx.baseVal.value / Number(figure.dataset.perMinute),
        degrees: (Number(figure.dataset.floor) - knot.cy.baseVal.value) / Number(figure.dataset.perDegree),
        perMinute: scale * Number(figure.dataset.perMinute),
        perDegree: scale * Number(figure.dataset.perDegree),
      };
      svg.classList.add("dragging");
    });
    document.addEventListener("pointermove", (event) => {
      if (!held || !svg.classList.contains("dragging")) return;
      held.minute = Math.round(held.minutes + (event.clientX - held.from[0]) / held.perMinute);
      held.celsius = Math.round(held.degrees - (event.clientY - held.from[1]) / held.perDegree);
      ask(false);
    });
    document.addEventListener("pointerup", () => {
      if (!held || !svg.classList.contains("dragging")) return;
      svg.classList.remove("dragging");
      if (held.minute !== undefined) ask(true);
    });
  };
  const slide = (slider) => {
    if (slider.dataset.ready) return;
    slider.dataset.ready = "yes";
    slider.hidden = false;
    let busy = false, again = false;
    const ask = async () => {
      if (busy) { again = true; return; }
      busy = true;
      const answer = await fetch(slider.dataset.section + slider.value).catch(() => null);
      if (answer?.ok) {
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const then = page.getElementById("cut-picture");
        if (then) document.getElementById("cut-picture")?.replaceWith(then);
      }
      busy = false;
      if (again) { again = false; ask(); }
    };
    slider.addEventListener("input", ask);
  };
  const all = () => {
    document.querySelectorAll("figure[data-ask]").forEach(start);
    document.querySelectorAll("input[data-section]").forEach(slide);
  };
  all();
  document.addEventListener("pourday:refreshed", all);
})();
