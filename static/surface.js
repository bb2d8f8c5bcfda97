// Models as the server sends them, and the geometry of looking at them.
"use strict";
window.pourdaySurface = (() => {
  const NONE = 65535, STEPS = 65534;
  const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
  const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
  const scale = (a, s) => [a[0] * s, a[1] * s, a[2] * s];
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  const unit = (a) => scale(a, 1 / (Math.hypot(...a) || 1));

  // A field: a value for each point, NaN where there is none.
  const readField = (view, at) => {
    const count = view.getUint32(at, true), least = view.getFloat32(at + 4, true), greatest = view.getFloat32(at + 8, true);
    const values = new Float32Array(count);
    for (let n = 0; n < count; n++) {
      const step = view.getUint16(at + 12 + 2 * n, true);
      values[n] = step === NONE ? NaN : least + (greatest - least) * (step / STEPS);
    }
    return { values, end: at + 12 + 2 * count + (count % 2 ? 2 : 0) };
  };
  const fetched = async (address) => {
    const answer = await fetch(address);
    if (!answer.ok) throw new Error("the model did not come: " + answer.status);
    return new DataView(await answer.arrayBuffer());
  };
  const magic = (view) => String.fromCharCode(view.getUint8(0), view.getUint8(1), view.getUint8(2), view.getUint8(3));

  const field = async (address) => {
    const view = await fetched(address);
    if (magic(view) !== "PDF1") throw new Error("this is no field");
    return readField(view, 4).values;
  };

  const load = async (address) => {
    const view = await fetched(address);
    if (magic(view) !== "PDS1") throw new Error("this is no surface");
    const [points, facets, fields] = [4, 8, 12].map((at) => view.getUint32(at, true));
    const number = (n) => view.getFloat32(16 + 4 * n, true);
    const least = [number(0), number(1), number(2)], sides = [number(3), number(4), number(5)];
    const place = new Float32Array(points * 3);
    for (let n = 0; n < points * 3; n++) place[n] = least[n % 3] + sides[n % 3] * (view.getUint16(40 + 2 * n, true) / STEPS);
    let at = 40 + 6 * points;
    at += (4 - (at % 4)) % 4;
    const corners = new Uint32Array(view.buffer, at, facets * 3);
    at += facets * 12;
    const read = [];
    for (let n = 0; n < fields; n++) {
      const one = readField(view, at);
      read.push(one.values);
      at = one.end;
    }
    const middle = add(least, scale(sides, 0.5));
    return { place, corners, facets, fields: read, least, sides, middle, radius: Math.hypot(...sides) / 2 || 1, normals: normals(place, corners) };
  };

  // For each corner of each facet: the mean direction around its point where the surface is
  // smooth there, its facet's own where it has an edge.
  const normals = (place, corners) => {
    const around = new Float32Array(place.length), own = new Float32Array(corners.length);
    for (let f = 0; f < corners.length; f += 3) {
      const [a, b, c] = [corners[f] * 3, corners[f + 1] * 3, corners[f + 2] * 3];
      const ux = place[b] - place[a], uy = place[b + 1] - place[a + 1], uz = place[b + 2] - place[a + 2];
      const vx = place[c] - place[a], vy = place[c + 1] - place[a + 1], vz = place[c + 2] - place[a + 2];
      own[f] = uy * vz - uz * vy; own[f + 1] = uz * vx - ux * vz; own[f + 2] = ux * vy - uy * vx;
      for (const p of [a, b, c]) { around[p] += own[f]; around[p + 1] += own[f + 1]; around[p + 2] += own[f + 2]; }
    }
    const out = new Int8Array(corners.length * 4);
    for (let f = 0; f < corners.length; f += 3) {
      const flat = unit([own[f], own[f + 1], own[f + 2]]);
      for (let k = 0; k < 3; k++) {
        const p = corners[f + k] * 3;
        const shared = unit([around[p], around[p + 1], around[p + 2]]);
        const used = dot(shared, flat) > 0.788 ? shared : flat;
        for (let axis = 0; axis < 3; axis++) out[(f + k) * 4 + axis] = Math.round(used[axis] * 127);
      }
    }
    return out;
  };

  // The nearest facet along a ray; `hidden` says which points are cut away.
  const hit = (surface, from, way, hidden) => {
    const { place, corners } = surface;
    let best = null, nearest = Infinity;
    const [dx, dy, dz] = way;
    for (let f = 0; f < corners.length; f += 3) {
      const a = corners[f] * 3, b = corners[f + 1] * 3, c = corners[f + 2] * 3;
      const ux = place[b] - place[a], uy = place[b + 1] - place[a + 1], uz = place[b + 2] - place[a + 2];
      const vx = place[c] - place[a], vy = place[c + 1] - place[a + 1], vz = place[c + 2] - place[a + 2];
      const px = dy * vz - dz * vy, py = dz * vx - dx * vz, pz = dx * vy - dy * vx;
      const det = ux * px + uy * py + uz * pz;
      if (det > -1e-14 && det < 1e-14) continue;
      const tx = from[0] - place[a], ty = from[1] - place[a + 1], tz = from[2] - place[a + 2];
      const u = (tx * px + ty * py + tz * pz) / det;
      if (u < 0 || u > 1) continue;
      const qx = ty * uz - tz * uy, qy = tz * ux - tx * uz, qz = tx * uy - ty * ux;
      const v = (dx * qx + dy * qy + dz * qz) / det;
      if (v < 0 || u + v > 1) continue;
      const along = (vx * qx + vy * qy + vz * qz) / det;
      if (along <= 1e-6 || along >= nearest) continue;
      const at = [from[0] + dx * along, from[1] + dy * along, from[2] + dz * along];
      if (hidden && hidden(at)) continue;
      nearest = along;
      best = { at, along, facet: f, weights: [1 - u - v, u, v], normal: unit([uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx]) };
    }
    return best;
  };

  // The value of a field at a hit.
  const valueAt = (surface, values, found) => {
    let sum = 0, weight = 0;
    for (let k = 0; k < 3; k++) {
      const value = values[surface.corners[found.facet + k]];
      if (Number.isFinite(value)) { sum += value * found.weights[k]; weight += found.weights[k]; }
    }
    return weight > 0.3 ? sum / weight : NaN;
  };

  // A rod's corners and normals, closed at both ends.
  const rod = ({ from_mm: from, to_mm: to, diameter_mm: diameter }) => {
    const AROUND = 28, along = unit(sub(to, from)), radius = diameter / 2;
    const across = unit(cross(along, Math.abs(along[0]) < 0.7 ? [1, 0, 0] : [0, 1, 0])), third = cross(along, across);
    const place = [], normal = [];
    const put = (p, n) => { place.push(...p); normal.push(...n.map((c) => Math.round(c * 127)), 0); };
    for (let n = 0; n < AROUND; n++) {
      const out = [n, n + 1].map((k) => {
        const angle = (2 * Math.PI * k) / AROUND;
        return add(scale(across, Math.cos(angle)), scale(third, Math.sin(angle)));
      });
      const [a, b] = out.map((o) => add(from, scale(o, radius))), [c, d] = out.map((o) => add(to, scale(o, radius)));
      for (const [p, o] of [[a, out[0]], [b, out[1]], [d, out[1]], [a, out[0]], [d, out[1]], [c, out[0]]]) put(p, o);
      for (const p of [from, b, a]) put(p, scale(along, -1));
      for (const p of [to, c, d]) put(p, along);
    }
    return { place: new Float32Array(place), normals: new Int8Array(normal), corners: place.length / 3 };
  };

  return { load, field, hit, valueAt, rod, sub, add, scale, dot, cross, unit };
})();
