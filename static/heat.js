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
