# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How good the checks are: planted faults found, false flags on natural motion.

    PYTHONPATH=tests/support python tests/quality/score.py [--quick] [--only CHECK] [--store]

Exit status 0; 1 when something is worse than in the stored score; 2 for a wrong call.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

import clips
import planters
import score_page
import score_store
import scoring

ROOT = Path(__file__).resolve().parents[2]
CASES, QUICK_CASES = 40, 8


def main(arguments: list[str] | None = None) -> int:
    """Run the score as the command line asks."""
    options = _parse(arguments)
    known = {planter.check for planter in planters.PLANTERS} | set(scoring.CHECKS)
    for name in options.only:
        if name not in known:
            print(f"unknown check {name!r} (known: {', '.join(sorted(known))})", file=sys.stderr)
            return 2
    started = time.perf_counter()
    found, missing = clips.list_clips()
    for reason in missing:
        print(f"SKIPPED {reason}", file=sys.stderr)
    only = options.only or list(scoring.CHECKS)
    chosen = [p for p in planters.PLANTERS if p.check in only]
    per_split = options.cases or (QUICK_CASES if options.quick else CASES)
    cases = scoring.list_cases(chosen, found, per_split)
    done = []
    for number, one in enumerate(scoring.run_all(found, cases, only, options.jobs), 1):
        done.append(one)
        print(f"\r{number} of {len(found)} clips", end="", file=sys.stderr, flush=True)
    print(f"\r{time.perf_counter() - started:.0f} s      ", file=sys.stderr)
    score = score_store.summarize(done, chosen, only)
    print(score_page.make_table(score, chosen))
    if options.explain:
        print(score_page.explain(done, chosen))
    for check in only:
        if check not in {planter.check for planter in chosen}:
            reason = planters.NOT_PLANTED_YET.get(check, "NOBODY SAID WHY")
            print(f"NO PLANTER YET: {check} ({reason})")
    return _keep(score, options, missing)


def _keep(score: dict, options: argparse.Namespace, missing: list[str]) -> int:
    """Store the score, or hold it against the stored one."""
    whole = not (options.only or options.quick or options.cases)
    if options.store:
        if missing or not whole:
            print("not stored: only a whole run with all clips is kept", file=sys.stderr)
            return 2
        score_store.store(score)
        score_page.write(score, planters.PLANTERS, ROOT / "docs")
        return 0
    if not whole:
        print("not compared with the stored score: only a whole run is", file=sys.stderr)
        return 0
    if missing:
        print("not compared with the stored score: clips are missing", file=sys.stderr)
        return 0
    worse = score_store.compare(score)
    for line in worse:
        print(f"LOWER THAN STORED: {line}")
    return 1 if worse else 0


def _parse(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a quarter of the cases")
    parser.add_argument("--only", action="append", default=[], metavar="CHECK")
    parser.add_argument("--cases", type=int, default=0, help="cases per planter, size and split")
    parser.add_argument("--explain", action="store_true", help="tell each miss and false flag")
    parser.add_argument("--store", action="store_true", help="keep this score and write its page")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    return parser.parse_args(arguments)


if __name__ == "__main__":
    sys.exit(main())
