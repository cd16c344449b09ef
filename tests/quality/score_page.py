# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The score for people: a table for the terminal, a page and a picture for the documentation."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import clips
from planters import Planter
from scoring import Done, Outcome

PICTURE = "score_recall.png"
STYLES: dict[str, dict] = {
    clips.TUNED: {"color": "#0072B2", "marker": "o", "lw": 1.6, "ms": 4},
    clips.HELD_OUT: {"color": "#D55E00", "marker": "s", "lw": 1.6, "ms": 4, "ls": "--"},
}
PREFACE = """# How good the checks are

Written by `make score` with `--store`; do not edit. Faults of known place and size are planted
into clean motion: motions made from published formulas, walks and runs built from published
figures, jumps, turns, dances, gestures and open captures, all of it at 12 to 120 frames a second.
Limits may be tuned on one half; the other half, with seeds and a capture of its own, is only
looked at here.

A fault counts as found when its check flags it clear or glaring (lockstep-keys never says more
than faint, which counts there), names a right part, and has its peak within two frames at 24 fps
of the planted frames. "Seen at speed" is a judgement made before the check is run; grey in the
picture. "Peak off" and "ends off" are medians in frames at 24 fps, tuned / held-out.

Places are left out where the clean motion has nothing to take away: a clavicle that never turns
(idle-shoulder; 4 of 20 places tuned), an arm that turns round where it would stop, or is carried
there by the body (stall). They are faults or rests of the clip's own, and not counted as found.
"""


RECORDED = """Flags of pop, arc-break and stall that point at a jump in the recording itself (a
joint changes its turning faster than any body can: a marker was lost) are right and not counted:
"""


def make_table(score: dict, chosen: Sequence[Planter]) -> str:
    """Write the score as plain text."""
    lines = [
        f"{'planted fault':42s} {'split':9s} recall by size "
        f"{'':27s} visible  cases  part  peak  edge"
    ]
    for planter in chosen:
        for split in clips.SPLITS:
            own = score[split]["planted"][planter.name]
            sizes = " ".join(
                f"{size:g}{'*' if planter.is_visible(size) else ''}:"
                f"{_percent(own['recall'][f'{size:g}'])}"
                for size in planter.sizes
            )
            lines.append(
                f"{planter.name if split == clips.TUNED else '':42s} {split:9s} {sizes:42s} "
                f"{_percent(own['visible_recall']):>6s} {own['visible_cases']:6d} "
                f"{_percent(own['right_part']):>5s} {_number(own['peak_error']):>5s} "
                f"{_number(own['edge_error']):>5s}  {_tell_outcomes(own)}"
            )
    lines += [
        "",
        f"{'flags per 10 s on untouched motion':42s} "
        + "  ".join(f"{split:>9s}: faint clear glaring" for split in clips.SPLITS),
    ]
    for name in _order_false(score):
        row = f"{name:42s}"
        for split in clips.SPLITS:
            own = score[split]["false_per_10_s"].get(name)
            row += "  " + (
                f"{'':10s} {own['faint']:6.2f} {own['clear']:5.2f} {own['glaring']:6.2f}"
                if own
                else f"{'':31s}"
            )
        lines.append(row)
    lines += ["", "frames/s: visible faults found, false clear or glaring flags per 10 s; held-out"]
    lines += ["  ".join(f"{cell:>12s}" for cell in row) for row in make_rate_rows(score)]
    lines += ["", "false clear or glaring flags per 10 s, by kind and frame rate"]
    lines += [
        f"{kind:20s} {split:9s} " + " ".join(f"{c:>5s}" for c in cells) + f"  {names}"
        for kind, split, *cells, names in make_kind_rows(score)
    ]
    for split in clips.SPLITS:
        lines.append(
            f"{split}: {score[split]['seconds']:.0f} s of untouched motion; "
            f"{score[split]['recorded_jumps']} clear or glaring flags not counted: "
            "they point at jumps in the recordings"
        )
    return "\n".join(lines)


def make_rate_rows(score: dict) -> list[tuple[str, ...]]:
    """Return the rows of recall and false flags by frame rate, tuned and held-out."""
    rows = []
    for rate in (f"{rate:.0f}" for rate in clips.RATES):
        cells = [rate]
        for split in clips.SPLITS:
            own = score[split]["by_rate"][rate]
            cells += [_of(own), f"{own['loud_false']:.2f}"]
        rows.append(tuple(cells))
    return rows


def make_kind_rows(score: dict) -> list[tuple[str, ...]]:
    """Return the rows of false clear or glaring flags per 10 s, kind of clip by frame rate."""
    rates = [f"{rate:.0f}" for rate in clips.RATES]
    rows = []
    for split in clips.SPLITS:
        for kind, own in score[split]["loud_by_kind"].items():
            cells = [
                f"{10.0 * own[r]['flags'] / own[r]['seconds']:.1f}" if r in own else "-"
                for r in rates
            ]
            blamed: dict[str, int] = {}
            for cell in own.values():
                for check, count in cell["checks"].items():
                    blamed[check] = blamed.get(check, 0) + count
            told = sorted(blamed.items(), key=lambda entry: (-entry[1], entry[0]))
            names = ", ".join(f"{check} {count}" for check, count in told)
            rows.append((kind, split, *cells, names))
    return rows


def explain(done: Sequence[Done], chosen: Sequence[Planter]) -> str:
    """Tell every visible fault that was not found, and every loud flag on untouched motion."""
    lines = []
    for planter in chosen:
        for one in done:
            for r in one.results:
                if r.planter == planter.name and r.outcome is not Outcome.FOUND:
                    if planter.is_visible(r.size):
                        lines.append(
                            f"{r.outcome.value.upper():10s} {r.planter} {r.size:g} in {r.clip} "
                            f"#{r.seed} ({r.split}): {r.note}"
                        )
    for one in done:
        for flag in one.clean.flags:
            if flag.severity != "faint":
                kind = "RECORDED" if flag.recorded else "FALSE"
                lines.append(
                    f"{kind} {flag.severity} {flag.check} in {one.clean.clip} "
                    f"({one.clean.split}), frame {flag.frame}: {flag.message}"
                )
    return "\n".join(lines)


def write(score: dict, chosen: Sequence[Planter], folder: Path) -> None:
    """Write docs/score.md and its picture."""
    folder.mkdir(exist_ok=True)
    draw_recall(score, chosen, folder / PICTURE)
    (folder / "score.md").write_text(make_page(score, chosen), encoding="utf-8")


def make_page(score: dict, chosen: Sequence[Planter]) -> str:
    """Write the score as a page of the documentation."""
    lines = [PREFACE]
    lines += [f"![Recall against the size of the fault]({PICTURE})", "", "## Planted faults", ""]
    lines.append(
        "| fault | seen at speed from | found, tuned | found, held-out | right part | peak off "
        "| ends off |"
    )
    lines.append("|---|---|---|---|---|---|---|")
    for planter in chosen:
        tuned, held = (score[split]["planted"][planter.name] for split in clips.SPLITS)
        lines.append(
            f"| {planter.name} | {planter.visible_from:g} {planter.unit} "
            f"| {_of(tuned)} | {_of(held)} | {_both(tuned, held, 'right_part', _percent)} "
            f"| {_both(tuned, held, 'peak_error', _number)} "
            f"| {_both(tuned, held, 'edge_error', _number)} |"
        )
    lines += ["", "## By frame rate", ""]
    lines += ["Visible faults of all kinds found, and false clear or glaring flags per 10 s.", ""]
    lines.append("| frames a second | found, tuned | false | found, held-out | false |")
    lines.append("|---|---|---|---|---|")
    lines += [f"| {' | '.join(row)} |" for row in make_rate_rows(score)]
    rates = [f"{rate:.0f}" for rate in clips.RATES]
    lines += ["", "Visible faults found by frame rate, tuned / held-out:", ""]
    lines.append(f"| fault | {' | '.join(rates)} |")
    lines.append("|---|" + "---|" * len(rates))
    for planter in chosen:
        tuned, held = (score[s]["planted"][planter.name]["recall_by_rate"] for s in clips.SPLITS)
        cells = [f"{_percent(tuned[r])} / {_percent(held[r])}" for r in rates]
        lines.append(f"| {planter.name} | {' | '.join(cells)} |")
    lines += ["", "## Why these sizes", ""]
    lines += [
        f"- {p.name}: from {p.visible_from:g} {p.unit}. {p.reason[0].upper()}{p.reason[1:]}."
        for p in chosen
    ]
    lines += ["", "## Flags per 10 s on untouched motion", ""]
    lines.append("| checks | tuned: faint | clear | glaring | held-out: faint | clear | glaring |")
    lines.append("|---|---|---|---|---|---|---|")
    for name in _order_false(score):
        cells = []
        for split in clips.SPLITS:
            own = score[split]["false_per_10_s"].get(name)
            cells += [f"{own[s]:.2f}" if own else "" for s in ("faint", "clear", "glaring")]
        lines.append(f"| {name} | {' | '.join(cells)} |")
    lines += ["", "## False clear or glaring flags per 10 s, by what is done and frame rate", ""]
    lines.append(f"| motion | half | {' | '.join(rates)} | checks, flags |")
    lines.append("|---|---|" + "---|" * (len(rates) + 1))
    lines += [f"| {' | '.join(row)} |" for row in make_kind_rows(score)]
    lines += ["", RECORDED]
    lines += [
        f"- {split}: {score[split]['seconds']:.0f} s of motion, "
        f"{score[split]['recorded_jumps']} such flags."
        for split in clips.SPLITS
    ]
    return "\n".join([*lines, ""])


def draw_recall(score: dict, chosen: Sequence[Planter], path: Path) -> None:
    """Draw recall against size, a small picture for each planted fault."""
    import matplotlib

    matplotlib.use("agg")
    import matplotlib.pyplot as plt

    columns = 5
    rows = -(-len(chosen) // columns)
    figure, places = plt.subplots(
        rows, columns, figsize=(2.9 * columns, 2.1 * rows), sharey=True, squeeze=False
    )
    for planter, place in zip(chosen, places.flat, strict=False):
        positions = range(len(planter.sizes))
        for split, style in STYLES.items():
            recall = score[split]["planted"][planter.name]["recall"]
            values = [recall[f"{size:g}"] for size in planter.sizes]
            known = [
                (x, 100.0 * v) for x, v in zip(positions, values, strict=True) if v is not None
            ]
            if known:
                place.plot(*zip(*known, strict=True), label=split, **style)
        first = next(i for i, size in enumerate(planter.sizes) if planter.is_visible(size))
        place.axvspan(first - 0.5, len(planter.sizes) - 0.5, color="#999999", alpha=0.18, lw=0)
        place.axhline(90.0, color="#999999", lw=0.8)
        place.set_xticks(list(positions), [f"{size:g}" for size in planter.sizes], fontsize=7)
        place.set_xlim(-0.5, len(planter.sizes) - 0.5)
        place.set_ylim(-4.0, 104.0)
        place.tick_params(axis="y", labelsize=7)
        place.set_title(planter.name.replace("/", "\n"), fontsize=8)
        place.set_xlabel(planter.unit, fontsize=6.5)
    for place in list(places.flat)[len(chosen) :]:
        place.axis("off")
    for row in places:
        row[0].set_ylabel("% found", fontsize=8)
    handles, labels = places[0, 0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="upper center", ncols=2, fontsize=9, frameon=False)
    figure.tight_layout(rect=(0.0, 0.0, 1.0, 0.985))
    figure.savefig(path, dpi=110)
    plt.close(figure)


def _order_false(score: dict) -> list[str]:
    names = list(dict.fromkeys(n for s in clips.SPLITS for n in score[s]["false_per_10_s"]))
    return sorted(names, key=lambda name: not name.startswith("all checks"))


def _of(own: dict) -> str:
    return f"{_percent(own['visible_recall'])} of {own['visible_cases']}"


def _both(tuned: dict, held: dict, key: str, say) -> str:
    return f"{say(tuned[key])} / {say(held[key])}"


def _tell_outcomes(own: dict) -> str:
    told = [f"{n} {word}" for word, n in own["visible_outcomes"].items() if n]
    for key, word in (("no_place", "without a place"), ("flagged_before", "flagged before")):
        if own[key]:
            told.append(f"{own[key]} {word}")
    return ", ".join(told)


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100.0 * share:.0f}%"


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"
