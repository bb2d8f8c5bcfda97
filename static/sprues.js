// Sprues and marks on a model in its viewer: put, dragged, moved by keys, taken away.
"use strict";
window.pourdaySprues = ({ element, digits }) => {
  const S = window.pourdaySurface;
  return {
    // --- sprues: the form's rows are the truth, the model shows them
    row(n, what) { return this.form?.elements[what + n]; },

    readSprues() {
      this.sprues = [];
      for (let n = 1; this.row(n, "x"); n++) {
        const read = (what) => Number.parseFloat(this.row(n, what).value.replace(",", "."));
        const at = ["x", "y", "z"].map(read);
        if (at.every(Number.isFinite)) this.sprues.push({ n, at, diameter: read("d") || 3, length: read("l") || 8 });
      }
      this.rods = [];
      for (const sprue of this.sprues) {
        const k = this.sprues.indexOf(sprue), known = !this.moved.has(sprue.n) && this.marks.rods?.slice(2 * k, 2 * k + 2);
        if (known?.length) { this.rods.push(...known); continue; }
        const out = this.moved.get(sprue.n) ?? [0, 0, 1];
        const end = S.add(sprue.at, S.scale(out, sprue.length)), button = 2 * sprue.diameter;
        this.rods.push({ from_mm: sprue.at, to_mm: end, diameter_mm: sprue.diameter }, { from_mm: end, to_mm: S.add(end, S.scale(out, button)), diameter_mm: button });
      }
      const parts = this.rods.map(S.rod), gl = this.gl;
      this.rodCorners = parts.reduce((sum, part) => sum + part.corners, 0);
      const place = new Float32Array(this.rodCorners * 3), normals = new Int8Array(this.rodCorners * 4);
      let at = 0;
      for (const part of parts) { place.set(part.place, at * 3); normals.set(part.normals, at * 4); at += part.corners; }
      gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers.rodPlace); gl.bufferData(gl.ARRAY_BUFFER, place, gl.DYNAMIC_DRAW);
      gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers.rodNormal); gl.bufferData(gl.ARRAY_BUFFER, normals, gl.DYNAMIC_DRAW);
    },

    setSprue(n, found, fresh) {
      ["x", "y", "z"].forEach((what, axis) => { this.row(n, what).value = found.at[axis].toFixed(2); });
      if (fresh) { const like = this.sprues.at(-1); this.row(n, "d").value ||= like?.diameter ?? 3; this.row(n, "l").value ||= like?.length ?? 8; }
      this.moved.set(n, found.normal);
      this.row(n, "x").dispatchEvent(new Event("input", { bubbles: true }));
      this.readSprues();
      this.writeMarks();
      this.draw();
      this.tell(fresh ? `Sprue ${n} is new.` : `Sprue ${n} was moved.`, true);
    },

    removeSprue(n) {
      for (const what of ["x", "y", "z", "d", "l"]) this.row(n, what).value = "";
      this.row(n, "x").dispatchEvent(new Event("input", { bubbles: true }));
      this.readSprues(); this.writeMarks(); this.draw();
      this.tell(`Sprue ${n} was taken away.`, true);
    },

    place(on) {
      if (on && !this.form) return this.tell("Say first how it is cast.");
      this.placing = on;
      this.put.setAttribute("aria-pressed", String(on));
      this.canvas.classList.toggle("placing", on);
      if (on) this.tell("Touch the place on the model where the sprue goes.");
    },

    tell(words, again) {
      this.word.replaceChildren(words);
      if (again) this.word.append(" ", element("button", { type: "button", class: "primary", onclick: () => this.form.requestSubmit() }, "Work it out again"));
    },

    writeMarks() {
      this.layer.replaceChildren();
      this.shown = [];
      const mark = (at, made) => { this.layer.append(made); this.shown.push({ at, made }); };
      const places = { walls: this.marks.thin?.slice(0, 5).map((thin, n) => [thin.from_mm.map((c, k) => (c + thin.to_mm[k]) / 2), "thin", `${digits(thin.min_mm, "mm")}`, `thin place ${n + 1}: ${digits(thin.min_mm, "mm")} mm`]),
        times: [...(this.sprues.length ? this.marks.pockets ?? [] : []).slice(0, 8).map((pocket, n) => [pocket.at_mm, "pocket", `P${n + 1}`, `cut off from feed: ${digits(pocket.volume_mm3, "mm")} mm³`]),
          ...(this.marks.last ? [[this.marks.last.at_mm, "last", "last", `freezes last, after ${digits(this.marks.last.seconds, "s")} s`]] : [])] };
      for (const [at, kind, words, title] of places[this.mode] ?? []) mark(at, element("span", { class: `mark ${kind}`, title }, words));
      for (const sprue of this.sprues) mark(sprue.at, this.handle(sprue));
    },

    handle(sprue) {
      const button = element("button", { type: "button", class: "mark sprue", "data-sprue": sprue.n, title: `Sprue ${sprue.n}: drag it, move it by the arrow keys, or press Delete` }, String(sprue.n));
      button.addEventListener("pointerdown", (event) => {
        event.preventDefault();
        button.setPointerCapture(event.pointerId);
        // The page is not fetched anew while something is being dragged.
        button.classList.add("dragging");
        let found = null;
        const move = (now) => {
          const there = this.pick(now);
          if (!there) return;
          found = there;
          this.shown.find((mark) => mark.made === button).at = there.at;
          this.layMarks();
        };
        const up = () => {
          button.removeEventListener("pointermove", move);
          button.classList.remove("dragging");
          if (found) this.setSprue(sprue.n, found);
        };
        button.addEventListener("pointermove", move);
        button.addEventListener("pointerup", up, { once: true });
        button.addEventListener("pointercancel", up, { once: true });
      });
      button.addEventListener("keydown", (event) => {
        const step = { ArrowLeft: [-4, 0], ArrowRight: [4, 0], ArrowUp: [0, -4], ArrowDown: [0, 4] }[event.key];
        if (event.key === "Delete") this.removeSprue(sprue.n);
        else if (step) {
          event.preventDefault();
          const [x, y] = this.onScreen(sprue.at), found = this.pickAt(x + step[0], y + step[1]);
          if (found) { this.setSprue(sprue.n, found); this.layer.querySelector(`[data-sprue="${sprue.n}"]`)?.focus(); }
        }
      });
      return button;
    },
  };
};
