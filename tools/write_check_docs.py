# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Write docs/checks.md and the README's table from the checks' own words and numbers."""

from __future__ import annotations

import sys
from pathlib import Path

from fettle.core_math import ALL_CHECKS
from fettle.core_math.catalogue import make_page, put_into_readme

ROOT = Path(__file__).resolve().parents[1]


def make_files(root: Path) -> dict[Path, str]:
    """Return what each generated file has to hold."""
    readme = root / "README.md"
    return {
        root / "docs" / "checks.md": make_page(ALL_CHECKS),
        readme: put_into_readme(readme.read_text(encoding="utf-8"), ALL_CHECKS),
    }


def main() -> int:
    """Write the files that changed and name them."""
    for path, text in make_files(ROOT).items():
        path.parent.mkdir(exist_ok=True)
        if not path.is_file() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
            print(f"wrote {path.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
