# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The score as numbers: summed up, kept beside the code, and held against what is kept."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from statistics import median

import clips
import planters
from planters import Planter
from scoring import Done, Outcome, Result

STORED = Path(__file__).with_name("score.json")
RECALL_SLACK = 0.02
"""One case of fifty may fall the other way on another machine."""
CASES_SHARE = 0.9
"""A fault that is planted less often than this share of before may hide what it misses."""
FALSE_SLACK = 0.05
SEVERITIES = ("faint", "clear", "glaring")


def summarize(done: Sequence[Done], chosen: Sequence[Planter], checks: Sequence[str]) -> dict:
    """Sum up everything, split by split."""
    return {
        split: {
            "planted": {p.name: _sum_planter(p, done, split) for p in chosen},
            "false_per_10_s": _sum_false(done, split, checks),
            "by_rate": {_name_rate(rate): _sum_rate(done, split, rate) for rate in clips.RATES},
            "loud_by_kind": _sum_kinds(done, split),
            "recorded_jumps": sum(
                f.recorded and f.severity != "faint"
                for d in done
                if d.clean.split == split
                for f in d.clean.flags
            ),
            "seconds": round(sum(d.clean.seconds for d in done if d.clean.split == split), 1),
        }
        for split in clips.SPLITS
    }


def near_rate(fps: float) -> float:
    """Return the rate of the score's a clip stands for; 100 a second stands with 120."""
    return min(clips.RATES, key=lambda known: abs(known - fps))


def _name_rate(rate: float) -> str:
    return f"{rate:.0f}"


def _sum_rate(done: Sequence[Done], split: str, rate: float) -> dict:
    """Sum up all planters and all checks at one frame rate: visible faults, false flags."""
    chosen = {p.name: p for p in planters.PLANTERS}
    own = [
        r
        for d in done
        for r in d.results
        if r.split == split and near_rate(r.fps) == rate and chosen[r.planter].is_visible(r.size)
    ]
    clean = [d.clean for d in done if d.clean.split == split and near_rate(d.clean.fps) == rate]
    false = _rate(clean, lambda flag: True)
    return {
        "visible_cases": len(own),
        "visible_recall": _recall(own),
        "loud_false": round(false["clear"] + false["glaring"], 3),
        "seconds": round(sum(c.seconds for c in clean), 1),
    }


def _sum_kinds(done: Sequence[Done], split: str) -> dict:
    """Sum up false clear or glaring flags per 10 s of every kind of clip, rate by rate."""
    total: dict[str, dict] = {}
    for clean in (d.clean for d in done if d.clean.split == split):
        loud = [f for f in clean.flags if f.severity != "faint" and not f.recorded]
        cell = total.setdefault(clean.kind, {}).setdefault(
            _name_rate(near_rate(clean.fps)), {"seconds": 0.0, "flags": 0, "checks": {}}
        )
        cell["seconds"] = round(cell["seconds"] + clean.seconds, 1)
        cell["flags"] += len(loud)
        for flag in loud:
            cell["checks"][flag.check] = cell["checks"].get(flag.check, 0) + 1
    return total


def store(score: dict) -> None:
    """Keep a score."""
    STORED.write_text(json.dumps(score, indent=1, sort_keys=True) + "\n", encoding="utf-8")


def compare(score: dict) -> list[str]:
    """Say what is worse than in the stored score, a line each."""
    if not STORED.is_file():
        return [f"there is no {STORED.name} yet (--store writes it)"]
    stored = json.loads(STORED.read_text(encoding="utf-8"))
    worse = []
    for split, old in stored.items():
        new = score[split]
        for name, kept in old["planted"].items():
            now = new["planted"].get(name)
            if now is None:
                worse.append(f"{split}: {name} is no longer planted")
            elif _less(now["visible_recall"], kept["visible_recall"]):
                worse.append(
                    f"{split}: {name} finds {_percent(now)} of visible faults, "
                    f"stored {_percent(kept)}"
                )
            elif now["visible_cases"] < CASES_SHARE * kept["visible_cases"]:
                worse.append(
                    f"{split}: {name} is planted {now['visible_cases']} times in visible sizes, "
                    f"stored {kept['visible_cases']}"
                )
        for name, kept in old["false_per_10_s"].items():
            now = new["false_per_10_s"].get(name)
            loud = kept["clear"] + kept["glaring"]
            if now is not None and now["clear"] + now["glaring"] > loud + FALSE_SLACK:
                worse.append(
                    f"{split}: {name} gives {now['clear'] + now['glaring']:.2f} false clear or "
                    f"glaring flags per 10 s, stored {loud:.2f}"
                )
        if new["recorded_jumps"] > old["recorded_jumps"]:
            worse.append(
                f"{split}: {new['recorded_jumps']} flags are put down to the recordings, "
                f"stored {old['recorded_jumps']}"
            )
    return worse


def _percent(own: dict) -> str:
    share = own["visible_recall"]
    return "none that could be planted" if share is None else f"{share:.0%}"


def _less(now: float | None, kept: float | None) -> bool:
    return kept is not None and (now is None or now < kept - RECALL_SLACK)


def _sum_planter(planter: Planter, done: Sequence[Done], split: str) -> dict:
    own = [r for d in done for r in d.results if r.planter == planter.name and r.split == split]
    visible = [r for r in own if planter.is_visible(r.size)]
    placed = [r for r in own if r.right_part is not None]
    found = [r for r in own if r.outcome is Outcome.FOUND]
    here = [d for d in done if d.clean.split == split]
    return {
        "recall": {
            f"{size:g}": _recall(r for r in own if r.size == size) for size in planter.sizes
        },
        "cases": len(own),
        "visible_cases": len(visible),
        "visible_recall": _recall(visible),
        "recall_by_rate": {
            _name_rate(rate): _recall(r for r in visible if near_rate(r.fps) == rate)
            for rate in clips.RATES
        },
        "no_place": sum(d.no_place.count(planter.name) for d in here),
        "flagged_before": sum(d.flagged_before.count(planter.name) for d in here),
        "right_part": _share(sum(bool(r.right_part) for r in placed), len(placed)),
        "peak_error": _middle(r.peak_error for r in found),
        "edge_error": _middle(r.edge_error for r in found),
        "visible_outcomes": {
            o.value: sum(r.outcome is o for r in visible) for o in Outcome if o is not Outcome.FOUND
        },
    }


def _sum_false(done: Sequence[Done], split: str, checks: Sequence[str]) -> dict:
    clean = [d.clean for d in done if d.clean.split == split]
    families = sorted({c.family for c in clean})
    total = {}
    for name in ("all checks", *checks):
        total[name] = _rate(clean, lambda f, n=name: n in ("all checks", f.check))
    for family in families:
        own = [c for c in clean if c.family == family]
        total[f"all checks on {family}"] = _rate(own, lambda f: True)
    return total


def _rate(clean, wanted) -> dict:
    seconds = sum(c.seconds for c in clean)
    return {
        severity: round(
            10.0
            * sum(
                f.severity == severity and not f.recorded and wanted(f)
                for c in clean
                for f in c.flags
            )
            / max(seconds, 1e-9),
            3,
        )
        for severity in SEVERITIES
    }


def _recall(results) -> float | None:
    results: list[Result] = list(results)
    return _share(sum(r.outcome is Outcome.FOUND for r in results), len(results))


def _share(part: int, whole: int) -> float | None:
    return round(part / whole, 4) if whole else None


def _middle(values) -> float | None:
    known = [value for value in values if value is not None]
    return round(median(known), 2) if known else None
