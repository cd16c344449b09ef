# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The command as a person and a pipeline meet it: real files, real worker processes."""

import json
import os
import subprocess
import sys
import tempfile

import bpy
import jsonschema
import pytest
import small_rig
from small_capture import JOINTS, make_bvh

from fettle.addon import markers, outputs
from fettle.addon.command_line import main
from fettle.core_math.report import SCHEMA_PATH, find_version, read_report
from fettle.core_math.whole_files import write_whole

VALIDATOR = jsonschema.Draft202012Validator(json.loads(SCHEMA_PATH.read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def shot(tmp_path_factory):
    """A figure whose hand is locked in the world, saved under a name people give."""
    path = tmp_path_factory.mktemp("shots") / "Kran am Kai – 港 01.blend"
    small_rig.build_shot()
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def save(tmp_path):
    """Save what is open as a shot."""

    def save(name="shot.blend"):
        path = tmp_path / name
        bpy.ops.wm.save_as_mainfile(filepath=str(path))
        return path

    return save


def call(capfd, *words):
    """Run the command; return exit status, lines on standard output, lines on standard error."""
    capfd.readouterr()  # what Blender said while the shot was made
    status = main([str(word) for word in words])
    out, err = capfd.readouterr()
    assert "Traceback" not in out + err
    return status, out.splitlines(), err.splitlines()


def test_locked_hand_is_found_and_told(shot, tmp_path, capfd):
    target = tmp_path / "out" / "findings.json"
    status, out, err = call(capfd, "check", shot, "--json", target, "--fail-on", "clear")
    assert (status, err) == (1, [])
    assert out[0] == str(shot)
    assert any("left hand" in line and "glaring" in line for line in out)
    document = json.loads(target.read_text(encoding="utf-8"))
    VALIDATOR.validate(document)
    assert document["tool"] == find_version()
    (read,) = document["shots"]
    assert read["source"] == str(shot) and read["frame_range"] == [1, small_rig.LAST_FRAME]
    assert ("ik-lock", "hand.L") in {(f["check"], f["part"]) for f in read["findings"]}
    assert document["errors"] == []


def test_standard_output_is_nothing_but_the_json_when_asked_for(shot, capfd):
    status, out, _ = call(capfd, "check", shot, "--json", "-", "--quiet", "--only", "ik-lock")
    document = json.loads("\n".join(out))
    VALIDATOR.validate(document)
    assert status == (1 if "glaring" in "\n".join(out) else 0)
    left_out = {entry["check"]: entry["reason"] for entry in document["shots"][0]["not_evaluated"]}
    assert left_out["idle-chest"] == "left out by --only"


def test_fail_on_decides_the_exit_status(shot, capfd):
    worst = max(
        ("faint", "clear", "glaring").index(flag["severity"])
        for flag in json.loads("\n".join(call(capfd, "check", shot, "--json", "-")[1]))["shots"][0][
            "findings"
        ]
    )
    assert worst == 2  # a hand held in the world by a constraint turns not at all
    assert call(capfd, "check", shot, "--quiet")[0] == 1
    assert call(capfd, "check", shot, "--quiet", "--frames", "1-3", "--fail-on", "faint")[0] == 0


def test_settings_are_found_above_the_shot(shot, tmp_path, capfd, monkeypatch):
    folder = tmp_path / "show" / "seq"
    folder.mkdir(parents=True)
    copy = folder / "shot.blend"
    copy.write_bytes(shot.read_bytes())
    (tmp_path / "show" / "fettle.toml").write_text("[checks.ik-lock]\nenabled = false\n")
    _, out, _ = call(capfd, "check", copy, "--json", "-")
    read = json.loads("\n".join(out))["shots"][0]
    assert "ik-lock" not in {flag["check"] for flag in read["findings"]}
    reasons = {entry["check"]: entry["reason"] for entry in read["not_evaluated"]}
    assert reasons["ik-lock"] == "switched off in fettle.toml"


def test_capture_is_read_at_its_own_rate(tmp_path, capfd):
    path = tmp_path / "été 夏.bvh"
    path.write_text(make_bvh(), encoding="utf-8")
    status, out, err = call(capfd, "check", path, "--json", "-")
    read = json.loads("\n".join(out))["shots"][0]
    assert (status, err) == (0, []) or status == 1
    assert (read["fps"], read["frame_range"]) == (24.0, [1, 40])
    (subject,) = read["subjects"]
    assert 1.4 < subject["height_m"] < 2.0  # 177 cm of offsets, head to sole
    assert "centimetres" in subject["route_reason"]
    assert subject["parts"]["hand.L"]["bone"] == "LeftHand"


def test_good_shots_are_read_beside_bad_ones_in_the_order_named(shot, tmp_path, capfd):
    bad = tmp_path / "bad.blend"
    bad.write_bytes(b"no blend at all")
    target = tmp_path / "findings.json"
    status, _, err = call(capfd, "check", bad, shot, "missing.bvh", "--json", target, "--jobs", 2)
    assert status == 2
    report = read_report(target)
    assert [read.source for read in report.shots] == [str(shot)]
    assert [fault.source for fault in report.errors] == ["missing.bvh", str(bad)]
    for fault in report.errors:
        assert f"fettle check: {fault.error}" in err


def truncated(path):
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])


def still_scene():
    bpy.ops.wm.read_factory_settings(use_empty=False)


def unknown_rig():
    scene, rig = small_rig.build_shot()
    for number, bone in enumerate(list(rig.data.bones)):
        bone.name = f"zz{number}"
    for bone in rig.pose.bones:
        for constraint in list(bone.constraints):
            bone.constraints.remove(constraint)
    bpy.ops.object.mode_set(mode="EDIT")
    for bone in list(rig.data.edit_bones)[1:]:
        rig.data.edit_bones.remove(bone)
    bpy.ops.object.mode_set(mode="OBJECT")
    return scene


def one_frame():
    scene, _ = small_rig.build_shot()
    scene.frame_end = scene.frame_start


def no_size():
    _, rig = small_rig.build_shot()
    rig.scale = (0.0, 0.0, 0.0)


def broken_curve():
    scene, rig = small_rig.build_shot()
    rig.keyframe_insert("location", index=0, frame=1)
    from fettle.addon.animation_data import list_played_curves

    for played in list_played_curves(rig):
        if played.curve.data_path == "location":
            played.curve.keyframe_points[0].co.y = float("nan")


BAD_SHOTS = {
    "nothing moves": (still_scene, (), "nothing moves in it"),
    "no part to map": (unknown_rig, (), "Rig"),
    "one frame": (one_frame, (), "frame 1 alone is no motion"),
    "scale 0": (no_size, (), "Rig"),
    "NaN in a curve": (broken_curve, (), "no part has valid positions"),
    "camera not there": (small_rig.build_shot, ("--camera", "Kamera"), "Kamera"),
}


@pytest.mark.parametrize("kind", BAD_SHOTS)
def test_shot_that_cannot_be_judged_gets_one_line(kind, save, capfd):
    build, options, words = BAD_SHOTS[kind]
    build()
    path = save()
    status, out, err = call(capfd, "check", path, *options)
    (line,) = err
    assert line.startswith(f"fettle check: {path}: ") and words in line
    assert (status, out) == (2, [])


BAD_FILES = {
    "missing": (None, "No such file"),
    "empty": (b"", "is empty"),
    "no blend": (b"PNG and so on, " * 40, "is no .blend file"),
    "newer": (b"BLENDER-v999" + bytes(200), "was saved by Blender 9.99"),
    "newer, new head": (b"BLENDER17-01v0999" + bytes(200), "was saved by Blender 9.99"),
    "cut off": (truncated, "cannot be opened"),
}


@pytest.mark.parametrize("kind", BAD_FILES)
def test_file_that_is_no_shot_gets_one_line(kind, tmp_path, shot, capfd):
    content, words = BAD_FILES[kind]
    path = tmp_path / "shot.blend"
    if content is truncated:
        path.write_bytes(shot.read_bytes())
        truncated(path)
    elif content is not None:
        path.write_bytes(content)
    status, out, err = call(capfd, "check", path)
    (line,) = err
    assert line.startswith(f"fettle check: {path}: ") and words in line
    assert (status, out) == (2, [])


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (lambda text: text[: len(text) * 3 // 4], "is cut off"),
        (lambda text: text.replace("HIERARCHY", ""), "is no .bvh file"),
        (lambda text: make_bvh(1), "holds a single pose"),
    ],
)
def test_damaged_capture_gets_one_line(tmp_path, capfd, damage, words):
    path = tmp_path / "walk.bvh"
    path.write_text(damage(make_bvh()))
    status, out, err = call(capfd, "check", path)
    (line,) = err
    assert line.startswith(f"fettle check: {path}: ") and words in line
    assert (status, out) == (2, [])


def test_capture_with_bones_of_no_length_is_read_and_says_what_it_lacks(tmp_path, capfd):
    path = tmp_path / "flat.bvh"
    text = make_bvh()
    for offset in {offset for _, offset in JOINTS.values()} | {"0 -9 0"}:
        text = text.replace(f"OFFSET {offset}\n", "OFFSET 0 0 0\n")
    path.write_text(text)
    status, out, err = call(capfd, "check", path)
    if status == 2:
        (line,) = err
        assert line.startswith(f"fettle check: {path}: ")
    else:
        assert any("not evaluated" in line for line in out)


def test_missing_library_is_told_and_the_rest_is_read(shot, save, capfd, tmp_path):
    library = tmp_path / "crate.blend"
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.data.objects.new("Crate", None).use_fake_user = True
    bpy.ops.wm.save_as_mainfile(filepath=str(library))
    small_rig.build_shot()
    with bpy.data.libraries.load(str(library), link=True) as (there, here):
        here.objects = there.objects
    bpy.context.scene.collection.objects.link(here.objects[0])
    path = save()
    library.unlink()
    status, out, err = call(capfd, "check", path)
    (line,) = err
    assert status == 2 and "crate.blend is missing" in line
    assert any("left hand" in text for text in out)


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("check",), "name at least one shot"),
        (("check", "-"), "standard input"),
        (("check", "x.blend", "--frames", "100-1"), "run backwards; write 1-100"),
        (("check", "x.blend", "--frames", "ten"), "write it like 1-120"),
        (("check", "x.blend", "--jobs", "0"), "no whole number above 0"),
        (("check", "x.blend", "--fail-on", "awful"), "unknown severity 'awful'"),
        (("check", "x.blend", "--only", "ik-lok"), "unknown check 'ik-lok'"),
        (("check", "x.blend", "--settings", "none.toml"), "none.toml: cannot be read"),
        (("check", "x.blend", "--froms", "1"), "unrecognized arguments"),
        (("chekc",), "invalid choice"),
        ((), "arguments are required"),
        (("checks", "ik-lok"), "unknown check 'ik-lok'"),
        (("bake", "x.blend"), "--out"),
        (("bake", ".", "--out", "y.blend"), "is a folder; name one shot"),
        (("bake", "x.blend", "--out", "y.blend"), "No such file"),
    ],
)
def test_wrong_call_gets_one_line(words, complaint, capfd, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    status, out, err = call(capfd, *words)
    assert complaint in err[0] and len(err) == 1
    assert (status, out) == (2, [])


@pytest.fixture
def without_root(monkeypatch):
    """Write as a user whom permissions hold back, where the tests run as root."""

    def write(path, content):
        if os.geteuid() != 0:
            return write_whole(path, content)
        os.seteuid(65534)
        try:
            return write_whole(path, content)
        finally:
            os.seteuid(0)

    monkeypatch.setattr(outputs, "write_whole", write)


@pytest.mark.skipif(os.name != "posix", reason="permissions of folders are POSIX")
def test_read_only_folder_is_told_and_the_rest_is_done(shot, capfd, without_root):
    with tempfile.TemporaryDirectory() as place:
        os.chmod(place, 0o755)
        locked, good = os.path.join(place, "locked"), os.path.join(place, "open")
        os.mkdir(locked, 0o555)
        os.mkdir(good)
        os.chmod(good, 0o777)
        target = os.path.join(locked, "findings.json")
        words = ("check", shot, "--json", target, "--csv", os.path.join(good, "f.csv"))
        status, out, err = call(capfd, *words)
        (line,) = err
        assert status == 2
        assert line.startswith(f"fettle check: {target}: cannot be written (Permission denied)")
        assert any("left hand" in text for text in out)
        assert os.listdir(good) == ["f.csv"] and os.listdir(locked) == []


@pytest.mark.parametrize("option", ["json", "csv", "html", "otio"])
def test_output_that_is_a_folder_is_told_before_the_work_and_the_work_done(
    shot, tmp_path, capfd, option
):
    good = tmp_path / "good.json" if option != "json" else tmp_path / "good.csv"
    words = ("check", shot, f"--{option}", tmp_path, f"--{good.suffix[1:]}", good)
    status, out, (line,) = call(capfd, *words, "--only", "ik-lock")
    assert f"is a folder; name the file that --{option} is to write" in line
    assert status == 2 and any("left hand" in text for text in out)
    assert os.listdir(tmp_path) == [good.name]


def test_review_sheets_of_several_shots_with_what_became_of_the_last_take(shot, tmp_path, capfd):
    last = tmp_path / "last.json"
    call(capfd, "check", shot, "--json", last, "--quiet", "--only", "ik-lock")
    bad = tmp_path / "bad.blend"
    bad.write_bytes(b"BLENDER-v402" + bytes(50))
    page = tmp_path / "night" / "review.html"
    words = ("--html", page, "--against", last, "--only", "ik-lock", "--jobs", 2)
    status, _, (line,) = call(capfd, "check", shot, bad, *words, "--quiet")
    assert status == 2 and str(bad) in line
    text = page.read_text(encoding="utf-8")
    assert "1 shot read" in text and "1 still there" in text and line.partition(": ")[2] in text
    (sheet,) = (page.parent / "review_sheets").iterdir()
    assert "Since Kran am Kai" in sheet.read_text(encoding="utf-8")


def test_last_take_of_another_kind_is_refused(shot, tmp_path, capfd):
    other = tmp_path / "other.json"
    other.write_text('{"schema": "something/1"}')
    status, out, (line,) = call(capfd, "check", shot, "--against", other)
    assert (status, out) == (2, []) and "is of another form" in line


def test_bake_saves_a_copy_with_markers_and_leaves_the_shot_alone(shot, tmp_path, capfd):
    before = shot.read_bytes()
    copy = tmp_path / "copies" / "mit Marken.blend"
    status, out, err = call(capfd, "bake", shot, "--out", copy, "--only", "ik-lock")
    assert (status, err) == (0, []) and str(copy) in out[0]
    assert shot.read_bytes() == before
    assert os.listdir(copy.parent) == [copy.name]
    bpy.ops.wm.open_mainfile(filepath=str(copy))
    markers.register()
    try:
        found = markers.find_baked(bpy.context.scene)
    finally:
        markers.unregister()
    assert found
    assert {marker.frame for marker, _ in found} <= set(range(1, small_rig.LAST_FRAME + 1))


def test_bake_never_writes_over_the_shot(shot, capfd):
    status, _, err = call(capfd, "bake", shot, "--out", shot)
    assert status == 2 and "is the shot itself" in err[0]


def test_compare_reads_json_and_shots_alike(shot, tmp_path, capfd):
    findings, target = tmp_path / "old.json", tmp_path / "comparison.json"
    call(capfd, "check", shot, "--json", findings, "--quiet")
    status, out, err = call(capfd, "compare", findings, shot, "--json", target)
    assert (status, err) == (0, []) and "0 new" in out[-2]
    small_rig.build_shot(locked=False)
    mended = tmp_path / "mended.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(mended))
    status, out, err = call(capfd, "compare", findings, mended, "--only", "ik-lock")
    assert (status, err) == (0, []) and any("fixed (1)" in line for line in out)
    status, out, err = call(capfd, "compare", mended, findings, "--only", "ik-lock")
    assert status == 1 and any("new (" in line for line in out)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('{"schema": "fettle.findings/7"}', "'fettle.findings/7'"),
        ("{", "is no JSON"),
        (None, "No such file"),
    ],
)
def test_compare_refuses_a_json_of_another_kind(shot, tmp_path, capfd, content, words):
    path = tmp_path / "other.json"
    if content is not None:
        path.write_text(content)
    status, out, (line,) = call(capfd, "compare", path, shot)
    assert (status, out) == (2, [])
    assert line.startswith(f"fettle compare: {path}: ") and words in line


def test_checks_need_no_blender():
    code = (
        "import sys; sys.modules['bpy'] = None\n"
        "from fettle.addon.command_line import main\n"
        "sys.exit(main(sys.argv[1:]))"
    )
    for words in (["checks"], ["checks", "ik-lock"], ["--version"], ["check", "--help"]):
        done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True)
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout


def test_without_blender_check_says_what_to_do():
    code = (
        "import sys; sys.modules['bpy'] = None\n"
        "from fettle.addon.command_line import main\n"
        "sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "check", __file__], capture_output=True, text=True
    )
    assert done.returncode == 2
    assert "bpy" in done.stderr and "Traceback" not in done.stderr


def test_output_cut_short_by_its_reader_is_no_fault():
    code = "import sys; from fettle.addon.command_line import main; sys.exit(main(['checks']))"
    done = subprocess.run(
        f'{sys.executable} -c "{code}" | head -c 1',
        shell=True,
        capture_output=True,
        text=True,
    )
    assert done.stderr == ""


def test_terminal_without_unicode_gets_plain_signs_and_escapes(shot):
    env = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    code = "import sys; from fettle.addon.command_line import main; sys.exit(main(sys.argv[1:]))"
    done = subprocess.run(
        [sys.executable, "-c", code, "check", str(shot), "--only", "ik-lock"],
        capture_output=True,
        env=env,
    )
    assert done.stdout.isascii() and b"\\u6e2f" in done.stdout and b"left hand" in done.stdout
    assert b"Traceback" not in done.stderr
