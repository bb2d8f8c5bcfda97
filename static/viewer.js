// Turns a model on its page: coloured by walls, gaps or freezing, cut open, with its sprues to be
// dragged. Without WebGL the pictures that the server made stay.
"use strict";
(() => {
  const S = window.pourdaySurface;
  const { TONES, program } = window.pourdayShade;
  const MODES = { plain: ["Plain", ""], walls: ["Walls", "mm"], times: ["Freezing", "s"], gaps: ["Gaps", "mm"] };
  const TITLES = { walls: "Thickness of walls", times: "Stops feeding after", gaps: "Width of gaps" };
  const element = (name, attributes = {}, ...children) => {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) {
      if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
      else if (value !== false) made.setAttribute(key, value === true ? "" : value);
    }
    made.append(...children);
    return made;
  };
  const digits = (value, unit) => (unit === "s" && value >= 100 ? value.toFixed(0) : value.toFixed(unit === "s" ? 1 : 2));

  class Viewer {
    constructor(host, gl, canvas) {
      this.gl = gl; this.canvas = canvas;
      this.address = host.dataset.surface;
      this.turn = { around: -52, above: 30, zoom: 1, shift: [0, 0] };
      this.mode = "walls"; this.axis = ""; this.share = 0.5; this.moved = new Map(); this.placing = false;
      this.program = program(gl);
      this.at = new Proxy({}, { get: (kept, name) => (kept[name] ??= gl.getUniformLocation(this.program, name)) });
      this.buffers = ["place", "normal", "value", "rodPlace", "rodNormal"].reduce((all, name) => ({ ...all, [name]: gl.createBuffer() }), {});
      this.build();
    }

    async open(host) {
      this.surface = await S.load(this.address);
      this.fields = { walls: this.surface.fields[0], gaps: this.surface.fields[1] };
      const { place, corners, normals } = this.surface, gl = this.gl;
      const spread = new Float32Array(corners.length * 3);
      for (let n = 0; n < corners.length; n++) spread.set(place.subarray(corners[n] * 3, corners[n] * 3 + 3), n * 3);
      gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers.place);
      gl.bufferData(gl.ARRAY_BUFFER, spread, gl.STATIC_DRAW);
      gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers.normal);
      gl.bufferData(gl.ARRAY_BUFFER, normals, gl.STATIC_DRAW);
      await this.update(host);
    }

    // Takes over what the page says now: times, sprues, marks.
    async update(host) {
      const form = document.querySelector("form[action$='/casting']"), same = host.dataset.marks + (host.dataset.times ?? "");
      this.form = form;
      if (same === this.seen) return this.draw();
      this.seen = same;
      this.marks = JSON.parse(host.dataset.marks);
      this.name = host.dataset.name;
      if (host.dataset.times && host.dataset.times !== this.timesAddress) {
        this.timesAddress = host.dataset.times;
        this.fields.times = await S.field(host.dataset.times);
      } else if (!host.dataset.times) { delete this.fields.times; this.timesAddress = ""; }
      this.moved.clear();
      this.middle ??= this.surface.middle;
      if (!this.usable(this.mode)) this.mode = ["walls", "times", "gaps", "plain"].find((mode) => this.usable(mode));
      this.readSprues();
      this.centre();
      this.setMode(this.mode);
      this.tell("");
    }

    usable(mode) { return mode === "plain" || (this.fields[mode] && this.marks.scales[mode]); }

    // --- the controls around the canvas
    build() {
      const turned = () => this.draw();
      this.buttons = {};
      const modes = element("div", { class: "viewer-modes", role: "group", "aria-label": "Coloured by" });
      for (const [mode, [words]] of Object.entries(MODES)) {
        modes.append(this.buttons[mode] = element("button", { type: "button", onclick: () => this.setMode(mode) }, words));
      }
      this.slider = element("input", { type: "range", min: 0, max: 1000, value: 500, "aria-label": "Where it is cut", disabled: true, oninput: () => { this.share = this.slider.value / 1000; turned(); } });
      const axis = element("select", { "aria-label": "Cut open across", onchange: () => { this.axis = axis.value; this.slider.disabled = !axis.value; turned(); } });
      for (const [value, words] of [["", "Whole"], ["0", "Cut across x"], ["1", "Cut across y"], ["2", "Cut across z"]]) axis.append(element("option", { value }, words));
      this.put = element("button", { type: "button", "aria-pressed": "false", onclick: () => this.place(!this.placing) }, "Put a sprue");
      const whole = element("button", { type: "button", onclick: () => this.reset() }, "Reset view");
      this.layer = element("div", { class: "viewer-marks" });
      this.bar = element("div", { class: "scale-bar", "aria-hidden": "true" });
      this.legend = element("div", { class: "viewer-legend" });
      this.readout = element("output", { class: "viewer-readout" });
      this.word = element("p", { class: "viewer-word", role: "status" });
      const stage = element("div", { class: "viewer-stage" }, this.canvas, this.layer, this.bar, this.readout);
      this.root = element("div", { class: "viewer-live" }, modes, stage, this.legend, element("div", { class: "viewer-tools" }, axis, this.slider, this.put, whole), this.word);
      this.axisBox = axis;
      // When the page around it is fetched anew, the focus stays where it was.
      this.root.addEventListener("focusin", (event) => { this.focused = event.target; });
      document.addEventListener("pointerdown", (event) => { if (!this.root.contains(event.target)) this.focused = null; });
      this.canvas.tabIndex = 0;
      this.canvas.setAttribute("role", "img");
      this.listen();
      new ResizeObserver(() => this.draw()).observe(stage);
    }

    setMode(mode) {
      this.mode = mode;
      for (const [name, button] of Object.entries(this.buttons)) {
        button.setAttribute("aria-pressed", String(name === mode));
        button.hidden = !this.usable(name);
      }
      const gl = this.gl, values = this.fields[mode], { corners } = this.surface;
      const spread = new Float32Array(corners.length).fill(-1e30);
      if (values) for (let n = 0; n < corners.length; n++) { const value = values[corners[n]]; if (Number.isFinite(value)) spread[n] = value; }
      gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers.value);
      gl.bufferData(gl.ARRAY_BUFFER, spread, gl.STATIC_DRAW);
      this.writeLegend();
      this.writeMarks();
      this.draw();
    }

    writeLegend() {
      const scale = this.marks.scales[this.mode], unit = MODES[this.mode][1];
      this.canvas.setAttribute("aria-label", `${this.name}${scale ? ", " + TITLES[this.mode].toLowerCase() + " from " + digits(scale.from, unit) + " to " + digits(scale.to, unit) + " " + unit : ""}. Arrow keys turn it, plus and minus change its size.`);
      this.legend.replaceChildren();
      if (!scale) return;
      const space = "http://www.w3.org/2000/svg", bar = document.createElementNS(space, "svg");
      bar.setAttribute("viewBox", "0 0 40 4"); bar.setAttribute("preserveAspectRatio", "none"); bar.setAttribute("aria-hidden", "true");
      for (let n = 0; n < 40; n++) {
        const along = ((n + 0.5) / 40) * 4, step = Math.min(3, Math.floor(along)), share = along - step;
        const [low, high] = [TONES[this.mode][step], TONES[this.mode][step + 1]];
        const part = document.createElementNS(space, "rect");
        for (const [key, value] of [["x", n], ["width", 1.05], ["height", 4], ["fill", `rgb(${low.map((c, k) => Math.round(c + (high[k] - c) * share)).join()})`]]) part.setAttribute(key, value);
        bar.append(part);
      }
      const middle = (scale.from + scale.to) / 2;
      const note = this.mode === "walls" && this.marks.limit_mm ? `Striped: thinner than ${this.marks.limit_mm} mm.` : "";
      this.legend.append(element("span", { class: "legend-title" }, `${TITLES[this.mode]}, ${unit}`), bar,
        element("span", { class: "legend-ends" }, ...[scale.from, middle, scale.to].map((value, n) => element("span", {}, digits(value, unit) + (n === 2 && this.mode !== "times" ? " or more" : "")))),
        element("span", { class: "legend-note" }, note));
    }

    // --- looking
    eye() {
      const [around, above] = [this.turn.around, this.turn.above].map((angle) => (angle * Math.PI) / 180);
      const towards = [Math.cos(above) * Math.cos(around), Math.cos(above) * Math.sin(around), Math.sin(above)];
      const right = [-Math.sin(around), Math.cos(around), 0];
      return { right, towards, up: S.cross(towards, right) };
    }

    pixelsPerMm() { return (this.turn.zoom * Math.min(this.canvas.clientWidth, this.canvas.clientHeight) * 0.53) / this.reach; }

    onScreen(point) {
      const eye = this.eye(), p = S.sub(point, this.middle), scale = this.pixelsPerMm();
      return [this.canvas.clientWidth / 2 + S.dot(eye.right, p) * scale + this.turn.shift[0], this.canvas.clientHeight / 2 - S.dot(eye.up, p) * scale + this.turn.shift[1]];
    }

    pickAt(x, y) {
      const eye = this.eye(), scale = this.pixelsPerMm();
      const right = (x - this.canvas.clientWidth / 2 - this.turn.shift[0]) / scale, up = -(y - this.canvas.clientHeight / 2 - this.turn.shift[1]) / scale;
      const from = S.add(S.add(this.middle, S.scale(eye.towards, 3 * this.reach)), S.add(S.scale(eye.right, right), S.scale(eye.up, up)));
      const cut = this.cut();
      return S.hit(this.surface, from, S.scale(eye.towards, -1), cut && ((at) => cut.side * at[cut.axis] > cut.at));
    }

    pick(event) {
      const box = this.canvas.getBoundingClientRect();
      return this.pickAt(event.clientX - box.left, event.clientY - box.top);
    }

    // What lies in front of the plane is taken away, whichever side one looks from.
    cut() {
      if (this.axis === "") return null;
      const axis = Number(this.axis), { least, sides } = this.surface, side = this.eye().towards[axis] < 0 ? -1 : 1;
      return { axis, side, at: side * (least[axis] + sides[axis] * this.share) };
    }

    // The middle of everything, so that model and sprues fill the stage.
    centre() {
      const { least, sides } = this.surface, ends = [least, S.add(least, sides), ...this.rods.flatMap((rod) => [rod.from_mm, rod.to_mm])];
      const [low, high] = [Math.min, Math.max].map((pick) => [0, 1, 2].map((axis) => pick(...ends.map((end) => end[axis]))));
      this.middle = S.scale(S.add(low, high), 0.5);
      this.reach = Math.max(Math.hypot(...S.sub(high, low)) / 2, this.surface.radius);
    }

    reset() {
      this.centre();
      Object.assign(this.turn, { around: -52, above: 30, zoom: 1, shift: [0, 0] });
      this.axis = this.axisBox.value = ""; this.slider.disabled = true;
      this.draw();
    }

    listen() {
      const fingers = new Map();
      let gap = 0, far = 0;
      const spread = () => { const [a, b] = [...fingers.values()]; return Math.hypot(a[0] - b[0], a[1] - b[1]); };
      this.canvas.addEventListener("pointerdown", (event) => {
        this.canvas.setPointerCapture(event.pointerId);
        fingers.set(event.pointerId, [event.clientX, event.clientY]);
        far = 0;
        if (fingers.size === 2) gap = spread();
        this.canvas.classList.add("dragging");
      });
      this.canvas.addEventListener("pointermove", (event) => {
        const before = fingers.get(event.pointerId);
        if (!before) return this.hover(event);
        const [dx, dy] = [event.clientX - before[0], event.clientY - before[1]];
        far += Math.abs(dx) + Math.abs(dy);
        fingers.set(event.pointerId, [event.clientX, event.clientY]);
        if (fingers.size === 2) {
          const now = spread();
          if (gap > 0) this.zoom(now / gap);
          gap = now;
          this.turn.shift = [this.turn.shift[0] + dx / 2, this.turn.shift[1] + dy / 2];
        } else if (event.shiftKey) this.turn.shift = [this.turn.shift[0] + dx, this.turn.shift[1] + dy];
        else { this.turn.around -= dx * 0.5; this.turn.above = Math.max(-90, Math.min(90, this.turn.above + dy * 0.5)); }
        this.draw();
      });
      const up = (event) => {
        fingers.delete(event.pointerId);
        if (!fingers.size) this.canvas.classList.remove("dragging");
        if (event.type !== "pointerup" || !this.placing || far > 6) return;
        const found = this.pick(event);
        if (!found) return;
        for (let n = 1; this.row(n, "x"); n++) {
          if (["x", "y", "z"].every((what) => !this.row(n, what).value.trim())) { this.place(false); return this.setSprue(n, found, true); }
        }
        this.place(false);
        this.tell("All rows for sprues are taken.");
      };
      this.canvas.addEventListener("pointerup", up);
      this.canvas.addEventListener("pointercancel", up);
      this.canvas.addEventListener("pointerleave", () => { this.readout.value = ""; });
      this.canvas.addEventListener("wheel", (event) => { event.preventDefault(); this.zoom(Math.exp(-event.deltaY * 0.0015)); this.draw(); }, { passive: false });
      this.canvas.addEventListener("keydown", (event) => {
        const steps = { ArrowLeft: () => (this.turn.around += 5), ArrowRight: () => (this.turn.around -= 5), ArrowUp: () => (this.turn.above = Math.min(90, this.turn.above + 5)), ArrowDown: () => (this.turn.above = Math.max(-90, this.turn.above - 5)), "+": () => this.zoom(1.15), "=": () => this.zoom(1.15), "-": () => this.zoom(1 / 1.15), 0: () => this.reset(), Escape: () => this.place(false) };
        if (!steps[event.key] || event.ctrlKey || event.metaKey) return;
        event.preventDefault();
        steps[event.key]();
        this.draw();
      });
    }

    zoom(by) { this.turn.zoom = Math.max(0.3, Math.min(60, this.turn.zoom * by)); }

    hover(event) {
      const values = this.fields?.[this.mode];
      if (!values || this.hovering) return;
      this.hovering = requestAnimationFrame(() => {
        this.hovering = 0;
        const found = this.pick(event), value = found ? S.valueAt(this.surface, values, found) : NaN;
        this.readout.value = Number.isFinite(value) ? `${digits(value, MODES[this.mode][1])} ${MODES[this.mode][1]}` : "";
      });
    }

    draw() {
      this.drawing ??= requestAnimationFrame(() => { this.drawing = null; if (this.surface && this.marks) this.paint(); });
    }

    paint() {
      const { gl, canvas, at } = this, sharp = Math.min(window.devicePixelRatio || 1, 2);
      const [width, height] = [canvas.clientWidth, canvas.clientHeight];
      if (!width || !height) return;
      if (canvas.width !== Math.round(width * sharp)) canvas.width = Math.round(width * sharp);
      if (canvas.height !== Math.round(height * sharp)) canvas.height = Math.round(height * sharp);
      gl.viewport(0, 0, canvas.width, canvas.height);
      gl.clearColor(0, 0, 0, 0);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      gl.enable(gl.DEPTH_TEST);
      gl.useProgram(this.program);
      const eye = this.eye(), scale = this.pixelsPerMm(), cut = this.cut(), mode = this.marks.scales[this.mode];
      for (const name of ["right", "up", "towards"]) gl.uniform3fv(at[name], eye[name]);
      gl.uniform3fv(at.middle, this.middle);
      gl.uniform2f(at.fit, (2 * scale) / width, (2 * scale) / height);
      gl.uniform2f(at.shift, (2 * this.turn.shift[0]) / width, (-2 * this.turn.shift[1]) / height);
      gl.uniform1f(at.depth, 1 / (2 * this.reach));
      gl.uniform1i(at.cut, cut ? 1 : 0);
      gl.uniform3fv(at.cutWay, [0, 1, 2].map((axis) => (cut && axis === cut.axis ? cut.side : 0)));
      gl.uniform1f(at.cutAt, cut ? cut.at : 0);
      gl.uniform3f(at.plain, 0.808, 0.784, 0.745);
      gl.uniform1i(at.coloured, mode ? 1 : 0);
      gl.uniform1f(at.limit, this.mode === "walls" ? this.marks.limit_mm ?? -1 : -1);
      if (mode) {
        gl.uniform1f(at.from, mode.from);
        gl.uniform1f(at.to, mode.to);
        gl.uniform3fv(at["stops[0]"], TONES[this.mode].flat().map((c) => c / 255));
      }
      this.part(this.buffers.place, this.buffers.normal, this.buffers.value, this.surface.corners.length);
      if (this.rodCorners) {
        gl.uniform1i(at.coloured, 0);
        gl.uniform3f(at.plain, 0.76, 0.73, 0.68);
        this.part(this.buffers.rodPlace, this.buffers.rodNormal, null, this.rodCorners);
      }
      this.layMarks();
      this.layBar(scale);
      canvas.dataset.painted = this.mode;
    }

    part(place, normal, value, corners) {
      const gl = this.gl;
      const bind = (buffer, n, size, kind, normalised, stride) => {
        gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
        gl.enableVertexAttribArray(n);
        gl.vertexAttribPointer(n, size, kind, normalised, stride, 0);
      };
      bind(place, 0, 3, gl.FLOAT, false, 12);
      bind(normal, 1, 3, gl.BYTE, true, 4);
      if (value) bind(value, 2, 1, gl.FLOAT, false, 4);
      else { gl.disableVertexAttribArray(2); gl.vertexAttrib1f(2, -1e30); }
      gl.drawArrays(gl.TRIANGLES, 0, corners);
    }

    layMarks() {
      for (const { at, made } of this.shown ?? []) {
        const [x, y] = this.onScreen(at);
        made.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
      }
    }

    layBar(scale) {
      const rough = 110 / scale, power = 10 ** Math.floor(Math.log10(rough));
      const length = [5, 2, 1].map((n) => n * power).find((mm) => mm <= rough);
      this.bar.textContent = `${Number(length.toPrecision(2))} mm`;
      this.bar.style.width = `${(length * scale).toFixed(1)}px`;
    }
  }

  Object.assign(Viewer.prototype, window.pourdaySprues({ element, digits }));

  let kept = null;
  const mount = async () => {
    const host = document.getElementById("viewer");
    if (!host) return;
    try {
      if (kept?.address === host.dataset.surface) {
        const focused = kept.focused;
        host.append(kept.root);
        host.classList.add("on");
        await kept.update(host);
        if (focused && document.activeElement === document.body) focused.focus({ preventScroll: true });
        return;
      }
      const canvas = document.createElement("canvas"), gl = canvas.getContext("webgl2", { antialias: true });
      if (!gl) return;
      const viewer = new Viewer(host, gl, canvas);
      await viewer.open(host);
      kept = viewer;
      canvas.addEventListener("webglcontextlost", () => { kept = null; viewer.root.remove(); document.getElementById("viewer")?.classList.remove("on"); });
      host.append(viewer.root);
      host.classList.add("on");
      viewer.draw();
    } catch (error) {
      // The pictures stay.
      console.warn(error);
    }
  };
  // For whoever looks at it from the browser's console.
  window.pourdayViewer = () => kept;
  document.addEventListener("pourday:refreshed", mount);
  document.addEventListener("input", (event) => { if (kept?.form && event.target.form === kept.form && event.isTrusted) { kept.readSprues(); kept.writeMarks(); kept.draw(); } });
  mount();
})();
