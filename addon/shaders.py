# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The two shaders of the overlay: ribbons in space and marks on the screen.

Both compute their own edges from distances, so that lines and shapes are smooth at any size and on
any background without multisampling, and both take the current frame as a number from outside: the
batches are built when the reading changes, never because the view or the frame did.

They are made on first use and kept until the extension is switched off.
"""

from __future__ import annotations

from typing import Any

import gpu

from .palette import SEVERITY_COLOURS

RIBBON_ATTRIBUTES = ("place_a", "place_b", "tint_a", "tint_b", "corner", "facts")
MARK_ATTRIBUTES = ("anchor", "corner", "tint", "shape")

# Blender's drawing surfaces take linear light; our colours are as the screen shows them.
_TO_LINEAR = """
vec3 to_linear(vec3 c) {
  vec3 low = c / 12.92;
  vec3 high = pow((c + 0.055) / 1.055, vec3(2.4));
  return mix(low, high, step(vec3(0.04045), c));
}
"""

_RIBBON_VERTEX = """
void main() {
  vec4 a = view_projection * vec4(place_a, 1.0);
  vec4 b = view_projection * vec4(place_b, 1.0);
  /* Cut the stretch where it passes behind the eye. */
  float least = 1e-4;
  if (a.w < least && b.w < least) {
    gl_Position = vec4(2.0, 2.0, 2.0, 1.0);
    local = vec2(0.0); reach = 0.0; tint = vec3(0.0); traits = vec4(0.0);
    return;
  }
  if (a.w < least) { a = mix(a, b, (least - a.w) / (b.w - a.w)); }
  if (b.w < least) { b = mix(b, a, (least - b.w) / (a.w - b.w)); }
  vec2 pa = (a.xy / a.w * 0.5 + 0.5) * screen.xy;
  vec2 pb = (b.xy / b.w * 0.5 + 0.5) * screen.xy;
  vec2 way = pb - pa;
  float span = length(way);
  way = span > 1e-3 ? way / span : vec2(1.0, 0.0);
  vec2 across = vec2(-way.y, way.x);
  float margin = style.x + style.y * 2.6 + 4.0;
  bool at_end = corner.x > 0.5;
  vec2 place = (at_end ? pb + way * margin : pa - way * margin) + across * corner.y * margin;
  /* Limbs have a thickness: the depth is that of a point a little nearer to the eye. */
  vec3 middle = at_end ? place_b : place_a;
  vec4 nearer = view_projection * vec4(middle + normalize(eye.xyz - middle) * eye.w, 1.0);
  float depth = nearer.w > least ? nearer.z / nearer.w : (at_end ? b.z / b.w : a.z / a.w);
  gl_Position = vec4(place / screen.xy * 2.0 - 1.0, depth, 1.0);
  local = vec2(at_end ? span + margin : -margin, corner.y * margin);
  reach = span;
  tint = at_end ? tint_b : tint_a;
  /* How far from the current frame, 0 here and 1 at the edge of the window of frames. */
  float frame = facts.x + (at_end ? 1.0 : 0.0);
  float away = frame - time.x;
  float share = away < 0.0 ? -away / max(time.y, 1e-3) : away / max(time.z, 1e-3);
  float distance_fade = 1.0;
  float away_from_eye = at_end ? b.w : a.w;
  if (screen.w > screen.z) {
    distance_fade = 1.0 - 0.6 * smoothstep(screen.z, screen.w, away_from_eye);
  }
  float fade = share > 1.0001 ? 0.0 : (1.0 - 0.75 * share * share) * distance_fade;
  /* How far along the trail, in metres; below zero for trails that are drawn solid. */
  float along = -1e6;
  if (facts.w >= 0.0) {
    float step_m = distance(place_a, place_b);
    float per_pixel = step_m / max(span, 0.05);
    along = at_end ? facts.w + step_m + per_pixel * margin : facts.w - per_pixel * margin;
  }
  traits = vec4(fade, facts.y, facts.z, along);
}
"""

_RIBBON_FRAGMENT = (
    _TO_LINEAR
    + """
float cover(float distance) { return clamp(0.5 - distance, 0.0, 1.0); }
float to_box(vec2 p, vec2 half_size) {
  vec2 d = abs(p) - half_size;
  return length(max(d, vec2(0.0))) + min(max(d.x, d.y), 0.0);
}
void main() {
  if (traits.x <= 0.003) { discard; }
  float past = max(max(-local.x, local.x - reach), 0.0);
  float line = length(vec2(past, local.y)) - style.x;
  /* Ticks crowd each other where the part hardly moves: there they give way. */
  float room = smoothstep(style.y, style.y * 2.4, reach);
  bool dashed = traits.w > -1e5;
  if (dashed) { line += 0.3 * style.x; room = 0.0; }
  float tick = to_box(local, vec2(0.7 * style.w, style.x + style.y));
  /* A key: a white bead on the line. */
  float key = length(local) - style.x - 1.7 * style.w;
  float kind = style.z;
  if (dashed) {
    /* Dashes of about the same length on the screen, whatever the distance. */
    float per_pixel = max(length(vec2(dFdx(traits.w), dFdy(traits.w))), 1e-9);
    float dash = exp2(ceil(log2(per_pixel * 11.0 * style.w)));
    if (fract(traits.w / dash) > 0.55) { discard; }
  }
  /* What was stands back behind what is. */
  vec3 colour = dashed ? mix(tint, vec3(0.86), 0.5) : tint;
  float alpha = 0.0;
  if (kind < 0.5) {
    /* Under a flag: a broad band in the colour of its severity. */
    if (traits.z < 0.5) { discard; }
    colour = traits.z < 1.5 ? FAINT : (traits.z < 2.5 ? CLEAR : GLARING);
    alpha = cover(line - 3.6 * style.w) * 0.5;
    if (local.x < 0.0 || local.x > reach) { alpha *= 0.0; }
  }
  else {
    float edge = kind < 1.5 ? 1.1 * style.w : 0.0;
    alpha = cover(line - edge);
    alpha = max(alpha, cover(tick - edge) * room);
    if (traits.y > 0.5) { alpha = max(alpha, cover(key - edge)); }
    if (kind < 1.5) {
      /* The rim: light around dark colours, dark around light ones. */
      float light = dot(tint, vec3(0.2126, 0.7152, 0.0722));
      colour = light < 0.38 ? vec3(0.93) : vec3(0.04);
      alpha *= 0.55 * traits.x;
    }
    else if (traits.y > 0.5) {
      colour = mix(colour, vec3(1.0), cover(key));
    }
  }
  alpha *= traits.x * time.w;
  if (alpha <= 0.003) { discard; }
  fragColor = vec4(to_linear(colour), alpha);
}
"""
)

_MARK_VERTEX = """
void main() {
  vec2 place = anchor + corner;
  gl_Position = vec4(place / screen.xy * 2.0 - 1.0, 0.0, 1.0);
  local = corner;
  colour = tint;
  traits = shape;
}
"""

# Kinds of marks; their numbers are those of `Mark` in overlay_marks.py.
_MARK_FRAGMENT = (
    _TO_LINEAR
    + """
float cover(float distance) { return clamp(0.5 - distance, 0.0, 1.0); }
float to_segment(vec2 p, vec2 a, vec2 b) {
  vec2 pa = p - a, ba = b - a;
  return length(pa - ba * clamp(dot(pa, ba) / dot(ba, ba), 0.0, 1.0));
}
float to_box(vec2 p, vec2 middle, vec2 half_size, float corner_radius) {
  vec2 d = abs(p - middle) - half_size + corner_radius;
  return length(max(d, vec2(0.0))) + min(max(d.x, d.y), 0.0) - corner_radius;
}
float to_triangle(vec2 p, vec2 a, vec2 b, vec2 c) {
  vec2 e0 = b - a, e1 = c - b, e2 = a - c;
  vec2 v0 = p - a, v1 = p - b, v2 = p - c;
  vec2 q0 = v0 - e0 * clamp(dot(v0, e0) / dot(e0, e0), 0.0, 1.0);
  vec2 q1 = v1 - e1 * clamp(dot(v1, e1) / dot(e1, e1), 0.0, 1.0);
  vec2 q2 = v2 - e2 * clamp(dot(v2, e2) / dot(e2, e2), 0.0, 1.0);
  float s = sign(e0.x * e2.y - e0.y * e2.x);
  vec2 d = min(min(vec2(dot(q0, q0), s * (v0.x * e0.y - v0.y * e0.x)),
                   vec2(dot(q1, q1), s * (v1.x * e1.y - v1.y * e1.x))),
                   vec2(dot(q2, q2), s * (v2.x * e2.y - v2.y * e2.x)));
  return -sqrt(d.x) * sign(d.y);
}
vec3 to_surface(vec3 c) { return screen.z > 0.5 ? to_linear(c) : c; }
void main() {
  float kind = traits.x;
  float size = traits.y;
  bool hollow = traits.z > 0.5 && traits.z < 1.5;
  bool chosen = traits.z > 1.5;
  vec2 p = local / size;
  float body = 1e3;
  float pole = 1e3;
  if (kind < 0.5) {
    body = length(p) - 1.0;
  }
  else if (kind < 1.5) { /* faint: a bead on a pin */
    pole = min(to_segment(p, vec2(0.0), vec2(0.0, 9.0)) - 0.75, length(p) - 1.9);
    body = length(p - vec2(0.0, 13.0)) - 4.6;
  }
  else if (kind < 2.5) { /* clear: a pennant */
    pole = min(to_segment(p, vec2(0.0), vec2(0.0, 21.0)) - 0.85, length(p) - 1.9);
    body = to_triangle(p, vec2(0.4, 21.6), vec2(0.4, 8.4), vec2(15.0, 15.0));
  }
  else if (kind < 3.5) { /* glaring: a board on its corner, with an eye in it */
    pole = min(to_segment(p, vec2(0.0), vec2(0.0, 9.0)) - 0.95, length(p) - 1.9);
    vec2 q = abs(p - vec2(0.0, 18.0));
    body = max((q.x + q.y - 11.0) * 0.70711, 2.3 - length(p - vec2(0.0, 18.0)));
  }
  else if (kind < 4.5) { /* where the part is now: a ring around a point */
    body = min(abs(length(p) - 5.2) - 1.1, length(p) - 1.7);
  }
  else { /* a box with round corners; its half sizes come in place of a size */
    body = to_box(local, vec2(0.0), vec2(traits.y, traits.z), traits.w) ;
    fragColor = vec4(to_surface(colour.rgb), colour.a * cover(body));
    return;
  }
  body *= size;
  pole *= size;
  float rim = 1.3 * min(1.0, size) * traits.w;
  float shown = min(body, pole);
  float outer = cover(shown - rim);
  float inner = cover(shown);
  vec3 rim_colour = chosen ? vec3(1.0) : vec3(0.05);
  if (chosen) { outer = cover(shown - rim * 1.5); }
  vec3 paint = colour.rgb;
  if (hollow && kind < 4.0) {
    /* Meant that way: only the outline stays. */
    inner = max(cover(abs(body + 0.9 * size) - 0.9 * size), cover(pole));
    outer = max(cover(abs(body + 0.9 * size) - 0.9 * size - rim), cover(pole - rim));
  }
  float alpha = max(outer * 0.85, inner);
  if (alpha <= 0.003) { discard; }
  fragColor = vec4(to_surface(mix(rim_colour, paint, inner)), alpha * colour.a);
}
"""
)

_made: dict[str, gpu.types.GPUShader] = {}


def _name_severities() -> str:
    """Write the severities' colours as constants of the shader."""
    lines = []
    for severity, colour in SEVERITY_COLOURS.items():
        numbers = ", ".join(f"{part:.5f}" for part in colour)
        lines.append(f"#define {severity.name} vec3({numbers})\n")
    return "".join(lines)


def get_ribbon_shader() -> gpu.types.GPUShader:
    """Return the shader of the trails; uniforms: see `viewport_draw`."""
    if "ribbon" not in _made:
        info = gpu.types.GPUShaderCreateInfo()
        info.push_constant("MAT4", "view_projection")
        info.push_constant("VEC4", "time")
        info.push_constant("VEC4", "style")
        info.push_constant("VEC4", "screen")
        info.push_constant("VEC4", "eye")
        for index, name in enumerate(RIBBON_ATTRIBUTES):
            kind: Any = {"corner": "VEC2", "facts": "VEC4"}.get(name, "VEC3")
            info.vertex_in(index, kind, name)
        between = gpu.types.GPUStageInterfaceInfo("fettle_ribbon")
        between.smooth("VEC2", "local")
        between.smooth("FLOAT", "reach")
        between.smooth("VEC3", "tint")
        between.smooth("VEC4", "traits")
        info.vertex_out(between)
        info.fragment_out(0, "VEC4", "fragColor")
        info.vertex_source(_RIBBON_VERTEX)
        info.fragment_source(_name_severities() + _RIBBON_FRAGMENT)
        _made["ribbon"] = gpu.shader.create_from_info(info)
    return _made["ribbon"]


def get_mark_shader() -> gpu.types.GPUShader:
    """Return the shader of flags, points, badges and boxes, in pixels of the region."""
    if "mark" not in _made:
        info = gpu.types.GPUShaderCreateInfo()
        info.push_constant("VEC4", "screen")
        for index, name in enumerate(MARK_ATTRIBUTES):
            kind: Any = "VEC4" if name in ("tint", "shape") else "VEC2"
            info.vertex_in(index, kind, name)
        between = gpu.types.GPUStageInterfaceInfo("fettle_mark")
        between.smooth("VEC2", "local")
        between.smooth("VEC4", "colour")
        between.smooth("VEC4", "traits")
        info.vertex_out(between)
        info.fragment_out(0, "VEC4", "fragColor")
        info.vertex_source(_MARK_VERTEX)
        info.fragment_source(_MARK_FRAGMENT)
        _made["mark"] = gpu.shader.create_from_info(info)
    return _made["mark"]


def forget_shaders() -> None:
    """Let the shaders go."""
    _made.clear()
