// SPDX-FileCopyrightText: 2026 Fettle developers
// SPDX-License-Identifier: GPL-3.0-or-later
// Filters, keys and the light. The page is complete without any of it.
"use strict";
(() => {
  const root = document.documentElement;
  const find = (id) => document.getElementById(id);
  const items = [...document.querySelectorAll(".flags > li")];

  const remember = (value) => { try { localStorage.setItem("fettle-theme", value); } catch { /* private window */ } };
  const recall = () => { try { return localStorage.getItem("fettle-theme"); } catch { return null; } };
  const isDark = () => (root.dataset.theme || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
  const showTheme = () => { const b = find("theme"); if (b) b.textContent = isDark() ? "Light" : "Dark"; };
  const setTheme = (value) => { root.dataset.theme = value; remember(value); showTheme(); };
  if (recall()) root.dataset.theme = recall();
  showTheme();
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", showTheme);
  find("theme")?.addEventListener("click", () => setTheme(isDark() ? "light" : "dark"));

  const filters = find("filters");
  const texts = items.map((item) => item.textContent.toLowerCase());
  const apply = () => {
    const shown = new Set([...filters.querySelectorAll("input[name=severity]:checked")].map((b) => b.value));
    const check = find("by-check").value;
    const state = find("by-state").value;
    const words = find("by-text").value.toLowerCase().split(/\s+/).filter(Boolean);
    let count = 0;
    items.forEach((item, n) => {
      const d = item.dataset;
      const fits = shown.has(d.severity) && (!check || d.check === check) && (!state || d.state === state)
        && words.every((word) => texts[n].includes(word));
      item.hidden = !fits;
      count += fits;
    });
    find("shown").textContent = `${count} of ${items.length} shown`;
  };
  if (filters) {
    filters.hidden = false;
    for (const kind of ["input", "change"]) filters.addEventListener(kind, apply);
    filters.addEventListener("submit", (event) => event.preventDefault());
    apply();
  }

  const go = (step) => {
    const seen = items.filter((item) => !item.hidden).map((item) => item.firstElementChild);
    if (!seen.length) return;
    const at = seen.indexOf(document.activeElement.closest?.("article"));
    const next = seen[at < 0 ? (step > 0 ? 0 : seen.length - 1) : Math.max(0, Math.min(seen.length - 1, at + step))];
    next.focus({ preventScroll: true });
    next.scrollIntoView({ block: "start" });
  };
  const toggle = (severity) => {
    const box = filters?.querySelector(`input[value=${severity}]`);
    if (box) { box.checked = !box.checked; apply(); }
  };
  const keys = {
    n: () => go(1), j: () => go(1), p: () => go(-1), k: () => go(-1),
    1: () => toggle("glaring"), 2: () => toggle("clear"), 3: () => toggle("faint"),
    "/": () => find("by-text")?.focus(), t: () => find("theme")?.click(),
  };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.matches("input[type=search], select")) {
      if (event.key === "Escape") event.target.blur();
      return;
    }
    const act = keys[event.key];
    if (act) { event.preventDefault(); act(); }
  });
})();
