# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What the shaders of the overlay compute, in their own language; made into shaders by `shaders`.

Shapes are told by the distance to them, so that they are smooth at any size.
"""

from __future__ import annotations

# Blender's drawing surfaces take linear light; our colours are as the screen shows them.
_TO_LINEAR = """
vec3 to_linear(vec3 c) {
  vec3 low = c / 12.92;
  vec3 high = pow((c + 0.055) / 1.055, vec3(2.4));
  return mix(low, high, step(vec3(0.04045), c));
}
"""

RIBBON_VERTEX = """
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

RIBBON_FRAGMENT = (
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

MARK_VERTEX = """
void main() {
  vec2 place = anchor + corner;
  gl_Position = vec4(place / screen.xy * 2.0 - 1.0, 0.0, 1.0);
  local = corner;
  colour = tint;
  traits = shape;
}
"""

# Distances to digits of height 1 around their middle, drawn with a pen of no width.
_DIGITS = """
float to_arc(vec2 p, vec2 middle, float radius, float towards, float half_angle) {
  vec2 d = p - middle;
  d = vec2(cos(towards) * d.x + sin(towards) * d.y, abs(cos(towards) * d.y - sin(towards) * d.x));
  vec2 end = radius * vec2(cos(half_angle), sin(half_angle));
  return atan(d.y, d.x) <= half_angle ? abs(length(d) - radius) : length(d - end);
}
float to_digit(vec2 p, float digit) {
  if (digit < 0.5) {
    return abs(to_segment(p, vec2(0.0, -0.18), vec2(0.0, 0.18)) - 0.24);
  }
  if (digit < 1.5) {
    float flag = to_segment(p, vec2(-0.15, 0.27), vec2(0.05, 0.42));
    return min(flag, to_segment(p, vec2(0.05, 0.42), vec2(0.05, -0.42)));
  }
  if (digit < 2.5) {
    float bow = to_arc(p, vec2(0.0, 0.18), 0.24, 1.13, 1.74);
    float slope = to_segment(p, vec2(0.197, 0.042), vec2(-0.24, -0.42));
    return min(min(bow, slope), to_segment(p, vec2(-0.24, -0.42), vec2(0.24, -0.42)));
  }
  if (digit < 3.5) {
    vec2 q = vec2(p.x, abs(p.y));
    return to_arc(q, vec2(0.0, 0.21), 0.21, 0.52, 2.09);
  }
  if (digit < 4.5) {
    float slope = to_segment(p, vec2(0.1, 0.42), vec2(-0.26, -0.16));
    float bar = to_segment(p, vec2(-0.26, -0.16), vec2(0.26, -0.16));
    return min(min(slope, bar), to_segment(p, vec2(0.1, 0.42), vec2(0.1, -0.42)));
  }
  if (digit < 5.5) {
    float top = to_segment(p, vec2(0.2, 0.42), vec2(-0.18, 0.42));
    float back = to_segment(p, vec2(-0.18, 0.42), vec2(-0.2, 0.02));
    return min(min(top, back), to_arc(p, vec2(-0.01, -0.16), 0.26, -0.11, 2.5));
  }
  if (digit > 6.5 && digit < 7.5) {
    float top = to_segment(p, vec2(-0.24, 0.42), vec2(0.24, 0.42));
    return min(top, to_segment(p, vec2(0.24, 0.42), vec2(-0.06, -0.42)));
  }
  if (digit > 7.5 && digit < 8.5) {
    float upper = abs(length(p - vec2(0.0, 0.22)) - 0.2);
    return min(upper, abs(length(p - vec2(0.0, -0.19)) - 0.23));
  }
  /* 9 is 6 turned over. */
  vec2 q = digit > 8.5 ? -p : p;
  float ring = abs(length(q - vec2(0.0, -0.18)) - 0.24);
  return min(ring, to_segment(q, vec2(-0.21, -0.06), vec2(0.1, 0.42)));
}
float to_number(vec2 p, float number) {
  float whole = floor(number + 0.5);
  float count = whole < 9.5 ? 1.0 : (whole < 99.5 ? 2.0 : 3.0);
  float found = 1e3;
  for (float place = 0.0; place < count; place += 1.0) {
    /* From the right: units, tens, hundreds. */
    float digit = whole - 10.0 * floor(whole / 10.0 + 0.01);
    found = min(found, to_digit(p - vec2(0.74 * (count - 1.0 - place), 0.0), digit));
    whole = floor(whole / 10.0 + 0.01);
  }
  return found;
}
"""

# Kinds of marks; their numbers are those of `Mark` in overlay_marks.py.
MARK_FRAGMENT = (
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
"""
    + _DIGITS
    + """
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
  else if (kind > 5.5) { /* a count, its digits with a dark edge that fades */
    float pen = (to_number(p - vec2(0.0, 0.5), traits.z) - 0.085) * size;
    float ink = cover(pen);
    float edge = 0.9 * (1.0 - smoothstep(0.0, 2.8 * traits.w, pen));
    float shown = max(ink, edge);
    if (shown <= 0.003) { discard; }
    fragColor = vec4(to_surface(mix(vec3(0.0), colour.rgb, ink)), shown * colour.a);
    return;
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
