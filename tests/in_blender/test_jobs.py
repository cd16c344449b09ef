# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Shots that take Blender down, hang or eat the memory cost their own result and nobody else's."""

import os
import signal
import threading
import time
from pathlib import Path

import bpy
import pytest
import small_rig

from fettle.addon.jobs import make_job, run_job, run_jobs
from fettle.addon.journal import Journal, identify_job

# What a shot's own Python does when it is trusted stands for what a broken file, driver or
# modifier can do to Blender.
MISCHIEF = {
    "crash": "import os; os.abort()",
    "hang": "import time\nwhile True: time.sleep(0.05)",
    "memory": """
import builtins, mmap
builtins.held = []
for size in (2**28, 2**24):
    try:
        while True:
            builtins.held.append(mmap.mmap(-1, size))
    except (MemoryError, OSError):
        pass
""",
    "killed": "import os, signal; os.kill(os.getpid(), signal.SIGKILL)",
    "exit": "import os; os._exit(7)",
}


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """A good shot, and one for each way of going wrong."""
    folder = tmp_path_factory.mktemp("shots")
    made = {}
    for name, code in {"good": None, **MISCHIEF}.items():
        small_rig.build_shot()
        if code is not None:
            text = bpy.data.texts.new("mischief.py")
            text.write(code)
            text.use_module = True
        made[name] = str(folder / f"{name}.blend")
        bpy.ops.wm.save_as_mainfile(filepath=made[name])
    return made


def job(shots, name, **options):
    return make_job(shots[name], settings="", run_scripts=True, **options)


@pytest.mark.skipif(os.name != "posix", reason="signals and limits are POSIX")
def test_bad_shots_cost_nobody_elses_result(shots):
    jobs = [
        job(shots, "good"),
        job(shots, "crash"),
        job(shots, "hang", time_limit_s=8.0),
        job(shots, "good"),
        job(shots, "killed"),
        job(shots, "exit"),
        job(shots, "good"),
    ]
    results = dict(run_jobs(jobs, workers=2))
    assert sorted(results) == list(range(len(jobs)))
    for number in (0, 3, 6):
        assert results[number]["errors"] == [] and len(results[number]["shots"]) == 1
    for number, words in (
        (1, "Blender crashed on it (SIGABRT)"),
        (2, "took longer than 8 s; raise --time-limit"),
        (4, "was killed from outside"),
        (5, "Blender ended with status 7"),
    ):
        ((error,),) = [results[number]["errors"]]
        assert error["source"] == jobs[number]["source"]
        assert error["error"].startswith(f"{jobs[number]['source']}: ")
        assert words in error["error"] and "\n" not in error["error"]
        assert results[number]["shots"] == []


@pytest.mark.skipif(os.name != "posix", reason="limits of memory are POSIX")
@pytest.mark.parametrize("megabytes", [300, 900])
def test_shot_that_needs_more_memory_than_it_may_have_says_so(shots, megabytes):
    # Blender's libraries alone take more than 1 GB of address space.
    (error,) = run_job(job(shots, "good", memory_mb=megabytes))["errors"]
    assert "--memory-limit" in error["error"]


@pytest.mark.skipif(os.name != "posix", reason="limits of memory are POSIX")
def test_shot_that_eats_the_memory_costs_its_own_result_alone(shots):
    limits = {"memory_mb": 4096, "time_limit_s": 10.0}
    jobs = [job(shots, name, **limits) for name in ("good", "memory", "good")]
    results = dict(run_jobs(jobs, workers=2))
    assert [len(results[number]["shots"]) for number in range(3)] == [1, 0, 1]
    (error,) = results[1]["errors"]
    assert "memory" in error["error"] or "4096 MB" in error["error"]


def test_python_in_a_shot_is_not_run_unless_it_is_trusted(shots):
    result = run_job(make_job(shots["crash"], settings=""))
    assert len(result["shots"]) == 1


def list_children():
    """Return the processes this one has started and that still live."""
    found = []
    for name in os.listdir("/proc"):
        if name.isdigit():
            try:
                fields = Path(f"/proc/{name}/stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if int(fields[1]) == os.getpid() and fields[0] != "Z":
                found.append(int(name))
    return found


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="counts processes in /proc")
def test_stopping_half_way_leaves_no_process_behind(shots):
    before = set(list_children())
    jobs = [job(shots, "good"), job(shots, "hang"), job(shots, "hang")]
    running = run_jobs(jobs, workers=2)
    number, result = next(running)
    assert number == 0 and len(result["shots"]) == 1
    running.close()
    deadline = time.monotonic() + 10.0
    while set(list_children()) - before and time.monotonic() < deadline:
        time.sleep(0.05)
    assert set(list_children()) == before


def test_progress_comes_from_every_worker(shots):
    told = []
    list(run_jobs([job(shots, "good")] * 2, 2, lambda *words: told.append(words)))
    assert {number for number, _, _ in told} == {0, 1}
    assert all(0.0 <= share <= 1.0 for _, share, _ in told)
    assert all(text for _, _, text in told)


def test_results_do_not_depend_on_how_many_work(shots):
    jobs = [job(shots, "good"), job(shots, "exit"), job(shots, "good")]

    def strip(results):
        kept = []
        for _, result in sorted(results):
            for shot in result["shots"]:
                shot.pop("timing")
            kept.append({key: result[key] for key in ("shots", "errors")})
        return kept

    assert strip(run_jobs(jobs, 1)) == strip(run_jobs(jobs, 3))


def call_in_background(words):
    """Start the command in a process of its own, as a shell would."""
    import subprocess
    import sys

    code = "import sys; from fettle.addon.command_line import main; sys.exit(main(sys.argv[1:]))"
    return subprocess.Popen(
        [sys.executable, "-c", code, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_interrupt_keeps_what_is_done_and_resume_goes_on(shots, tmp_path, how):
    from fettle.core_math.report import read_report

    target = tmp_path / "findings.json"
    journal = tmp_path / "findings.json.part"
    words = ["check", shots["good"], shots["exit"], shots["hang"], "--run-scripts"]
    words += ["--json", str(target), "--jobs", "1"]
    process = call_in_background(words)
    watchdog = threading.Timer(60.0, process.kill)
    watchdog.start()
    while process.poll() is None and not (journal.is_file() and journal.stat().st_size > 100):
        time.sleep(0.05)
    time.sleep(2.5)  # into the shot that hangs
    process.send_signal(how)
    _, err = process.communicate()
    watchdog.cancel()
    assert process.returncode == 130, err
    assert "interrupted, 1 of 3 shots are kept (--resume goes on)" in err
    assert [shot.source for shot in read_report(target).shots] == [shots["good"]]
    assert journal.is_file()

    words += ["--resume", "--time-limit", "4"]
    process = call_in_background(words)
    _, err = process.communicate(timeout=120)
    assert process.returncode == 2
    assert "done before" in err and "took longer than 4 s" in err
    assert [shot.source for shot in read_report(target).shots] == [shots["good"]]
    assert not journal.exists()


def test_journal_counts_for_the_very_same_job_only(shots, tmp_path):
    target = tmp_path / "findings.json"
    one, other = job(shots, "good"), job(shots, "good", camera="Cam")
    result = {"shots": [{"source": "x"}], "errors": [], "seconds": 1.0}
    with Journal(target, resume=False) as journal:
        journal.add(one, result)
        journal.add(job(shots, "crash"), {"shots": [], "errors": [{}], "seconds": 0.0})
    with open(target.with_name("findings.json.part"), "a") as stream:
        stream.write('{"job": "cut off in the mid')
    with Journal(target, resume=True) as journal:
        assert journal.find(one) == result
        assert journal.find({**one, "time_limit_s": 3.0}) == result
        assert journal.find(other) is None
        assert journal.find(job(shots, "crash")) is None
        journal.add(other, result)
    with Journal(target, resume=True) as journal:
        assert journal.find(one) == journal.find(other) == result
    before = identify_job(one)
    os.utime(shots["good"], ns=(1, 1))
    assert identify_job(one) != before
    with Journal(target, resume=False) as journal:
        assert journal.find(other) is None
        journal.remove()
    assert os.listdir(tmp_path) == []
