# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Who may import whom. A line that breaks the law is named with its file and number."""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
BLENDER = {
    "bpy",
    "bpy_extras",
    "bl_math",
    "blf",
    "bmesh",
    "gpu",
    "gpu_extras",
    "mathutils",
    "imbuf",
}
ENGINE = {"settings", "runner", "suppressions", "takes", "report", "reading"}
CHECK_MAY = {"check", "motion", "findings", "measures", "units", "camera", "body_parts"}


def list_files(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


def list_imports(path: Path) -> list[tuple[int, str, str]]:
    """Return (line, absolute module inside or outside fettle, imported name), nested ones too."""
    package = ["fettle", *path.relative_to(ROOT).parent.parts]
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name, "") for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            found += [(node.lineno, module, alias.name) for alias in node.names]
    return found


def name_breaches(files, forbidden) -> list[str]:
    breaches = []
    for path in files:
        for line, module, name in list_imports(path):
            if reason := forbidden(path, module, name):
                breaches.append(
                    f"{path.relative_to(ROOT)}:{line} imports {module} {name}: {reason}"
                )
    return breaches


def test_core_knows_numpy_and_the_standard_library_only():
    allowed = set(sys.stdlib_module_names) | {"numpy", "fettle", "__future__"}

    def forbidden(_path, module, _name):
        return "not in core_math" if module.split(".")[0] not in allowed else None

    assert name_breaches(list_files("core_math"), forbidden) == []


def test_core_never_imports_the_addon():
    def forbidden(_path, module, _name):
        outside = module.startswith("fettle") and not module.startswith("fettle.core_math")
        return "core_math stands alone" if outside else None

    assert name_breaches(list_files("core_math"), forbidden) == []


def test_measures_know_arrays_only():
    def forbidden(_path, module, _name):
        inside = module.startswith("fettle")
        return "arrays only" if inside and ".measures" not in module else None

    assert name_breaches(list_files("core_math/measures"), forbidden) == []


def test_a_check_never_imports_another_check():
    files = [f for f in list_files("core_math/checks") if f.name != "__init__.py"]

    def forbidden(path, module, name):
        if not module.startswith("fettle"):
            return None
        target = (module.split(".")[2:] or [name])[0]
        return None if target in CHECK_MAY else "a check is given what it needs"

    assert name_breaches(files, forbidden) == []


def test_the_engine_is_handed_the_checks():
    files = [ROOT / "core_math" / f"{name}.py" for name in sorted(ENGINE)]

    def forbidden(_path, module, name):
        named = f"{module}.{name}".startswith("fettle.core_math.checks")
        return "checks are handed in" if named else None

    assert name_breaches([f for f in files if f.exists()], forbidden) == []


def test_the_addon_imports_only_the_public_face_of_the_core():
    def forbidden(_path, module, _name):
        return "deeper than core_math" if module.startswith("fettle.core_math.") else None

    assert name_breaches(list_files("addon"), forbidden) == []


def test_the_demo_knows_nothing_of_how_it_is_judged():
    def forbidden(_path, module, _name):
        known = module.startswith(("fettle.core_math", "fettle.addon"))
        return "the demo is judged, it does not judge" if known else None

    assert name_breaches(list_files("demo_blend_scripts"), forbidden) == []


def test_the_root_package_imports_no_blender_at_its_top():
    tree = ast.parse((ROOT / "__init__.py").read_text(encoding="utf-8"))
    top = [node for node in tree.body if isinstance(node, ast.Import | ast.ImportFrom)]
    assert [ast.unparse(n) for n in top if "__future__" not in ast.unparse(n)] == []


def find_attribute_uses(path: Path, *chains: tuple[str, ...]) -> list[str]:
    """Name the lines that use an attribute chain such as ("app", "version")."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        inner: ast.AST = node
        while isinstance(inner, ast.Attribute):
            names.insert(0, inner.attr)
            inner = inner.value
        for chain in chains:
            if tuple(names[-len(chain) :]) == chain:
                found.append(f"{path.relative_to(ROOT)}:{node.lineno} {'.'.join(chain)}")
    return found


def test_only_compat_reads_the_blender_version():
    files = [f for f in list_files("addon") if f.name != "compat.py"]
    uses = [
        use
        for file in files
        for use in find_attribute_uses(file, ("app", "version"), ("app", "version_string"))
    ]
    assert uses == []


def test_only_sampling_steps_frames():
    uses = []
    for file in list_files("addon"):
        if file.stem.startswith("sampling"):
            continue
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr == "frame_set"
                # going to a flag is the one jump a person asks for
                and not file.stem.startswith("operators")
            ):
                uses.append(f"{file.relative_to(ROOT)}:{node.lineno}")
    assert uses == []


def test_the_law_sees_a_breach(tmp_path, monkeypatch):
    # A law that could never be broken would prove nothing.
    monkeypatch.setattr(sys.modules[__name__], "ROOT", tmp_path)
    folder = tmp_path / "core_math" / "measures"
    folder.mkdir(parents=True)
    (folder / "bad.py").write_text("def f():\n    from ..findings import Flag\n    import bpy\n")
    with pytest.raises(AssertionError, match=r"bad.py:2 imports fettle.core_math.findings Flag"):
        test_measures_know_arrays_only()
    with pytest.raises(AssertionError, match=r"bad.py:3 imports bpy"):
        test_core_knows_numpy_and_the_standard_library_only()
