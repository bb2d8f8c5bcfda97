// How a model is coloured and lit: the scales and the two shaders.
"use strict";
window.pourdayShade = (() => {
  // The same colours as the server's pictures; none of them is the heat scale's.
  const TONES = {
    walls: [[78, 18, 74], [140, 60, 122], [186, 122, 166], [217, 186, 206], [236, 232, 226]],
    gaps: [[52, 62, 18], [104, 118, 40], [156, 168, 88], [200, 206, 154], [236, 234, 222]],
    times: [[232, 238, 226], [164, 207, 196], [86, 158, 164], [38, 98, 126], [18, 38, 74]],
  };
  const VERTEX = `#version 300 es
    in vec3 place; in vec3 normal; in float value;
    uniform vec3 right, up, towards, middle; uniform vec2 fit, shift; uniform float depth;
    out vec3 light; out float v; out vec3 at;
    void main() {
      vec3 p = place - middle; at = place; v = value;
      light = vec3(dot(right, normal), dot(up, normal), dot(towards, normal));
      gl_Position = vec4(dot(right, p) * fit.x + shift.x, dot(up, p) * fit.y + shift.y, -dot(towards, p) * depth, 1.0);
    }`;
  const FRAGMENT = `#version 300 es
    precision highp float;
    in vec3 light; in float v; in vec3 at;
    uniform vec3 stops[5], plain, cutWay; uniform float from, to, cutAt, limit; uniform bool coloured, cut;
    out vec4 colour;
    void main() {
      if (cut && dot(at, cutWay) > cutAt) discard;
      if (cut && !gl_FrontFacing) {
        // Where the inside shows, the metal is cut: hatched as in a drawing.
        float line = mod(gl_FragCoord.x - gl_FragCoord.y, 9.0);
        colour = vec4(line < 1.4 ? vec3(0.35, 0.33, 0.30) : vec3(0.86, 0.84, 0.79), 1.0);
        return;
      }
      vec3 base = plain;
      if (coloured && v == v && v > -1.0e29) {
        float along = clamp((v - from) / max(to - from, 1.0e-9), 0.0, 1.0) * 4.0;
        int n = int(min(floor(along), 3.0));
        base = mix(stops[n], stops[n + 1], along - float(n));
        if (v < limit && mod(gl_FragCoord.x + gl_FragCoord.y, 7.0) < 1.6) base = mix(base, vec3(1.0), 0.75);
      }
      vec3 n = normalize(light); if (n.z < 0.0) n = -n;
      float key = max(dot(n, vec3(-0.470, 0.658, 0.588)), 0.0), fill = max(dot(n, vec3(0.805, 0.201, 0.559)), 0.0);
      float shine = pow(max(dot(n, normalize(vec3(-0.470, 0.658, 1.588))), 0.0), 28.0);
      float lit = (0.26 + 0.20 * (0.5 + 0.5 * n.y) + 0.58 * key + 0.16 * fill) * (0.55 + 0.45 * sqrt(n.z)) + (coloured ? 0.05 : 0.20) * shine;
      // Colours that mean something are shaded less, so that they can be told from the legend.
      if (coloured) lit = mix(1.0, lit, 0.6);
      colour = vec4(lit <= 1.0 ? base * lit : base + (1.0 - base) * (lit - 1.0), 1.0);
    }`;

  const program = (gl) => {
    const made = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(made, shader);
    }
    ["place", "normal", "value"].forEach((name, n) => gl.bindAttribLocation(made, n, name));
    gl.linkProgram(made);
    if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made));
    return made;
  };

  return { TONES, program };
})();
