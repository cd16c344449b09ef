# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Shots read by a real scheduler and its workers, on this machine's loopback."""

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import bpy
import pytest
import small_rig

from fettle.addon import cluster
from fettle.addon.command_line import main

pytest.importorskip("distributed", reason="Dask distributed is an optional part")

DASK = Path(sys.executable).with_name("dask")
pytestmark = [
    pytest.mark.skipif(not DASK.is_file(), reason="the dask command is not beside this Python"),
    pytest.mark.filterwarnings("ignore"),  # of the engine's own making
]


def wait_for(condition, seconds=60.0):
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "waited too long"
        time.sleep(0.05)


class Cluster:
    """A scheduler and its workers, started the way the engine's documentation does."""

    def __init__(self, folder):
        self.folder = folder
        self.file = folder / "scheduler.json"
        self.processes = []
        self._start("scheduler", "--scheduler-file", self.file, "--port", "0", "--no-dashboard")
        wait_for(lambda: self.file.is_file() and self.file.read_text().strip().endswith("}"))
        self.address = json.loads(self.file.read_text())["address"]

    def _start(self, kind, *words):
        log = open(self.folder / f"{kind}-{len(self.processes)}.log", "wb")  # noqa: SIM115
        with log:
            process = subprocess.Popen(
                [DASK, kind, "--host", "127.0.0.1", *map(str, words)],
                stdout=log,
                stderr=subprocess.STDOUT,
                cwd=self.folder,
                env={**os.environ, "DASK_DISTRIBUTED__SCHEDULER__WORKER_TTL": "10s"},
            )
        self.processes.append(process)
        return process

    def add_worker(self, name):
        """One shot at a time, without a guardian that would start it again."""
        words = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--name", name)
        return self._start("worker", self.address, *words)

    def ask(self, question):
        from distributed import Client

        with Client(self.address, timeout=20, set_as_default=False) as client:
            return question(client)

    def stop(self):
        for process in self.processes:
            process.kill()
        for process in self.processes:
            process.wait()


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    started = Cluster(tmp_path_factory.mktemp("cluster"))
    yield started
    started.stop()


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """Three quick shots and a slow one, which sleeps as long as its own Python makes it."""
    folder = tmp_path_factory.mktemp("shots")
    for name, delay in (("a", 0), ("b", 0), ("c slow", 6), ("d", 0)):
        small_rig.build_shot(locked=name != "b")
        if delay:
            text = bpy.data.texts.new("slow.py")
            text.write(f"import time; time.sleep({delay})")
            text.use_module = True
        bpy.ops.wm.save_as_mainfile(filepath=str(folder / f"{name}.blend"))
    (folder / "e.blend").write_bytes(b"no blend")
    return folder


def strip_times(path):
    document = json.loads(path.read_text(encoding="utf-8"))
    for shot in document["shots"]:
        shot.pop("timing")
    return json.dumps(document, sort_keys=True)


def test_cluster_gives_the_same_findings_byte_for_byte_though_a_worker_dies(
    farm, shots, tmp_path, capfd
):
    here, there = tmp_path / "here.json", tmp_path / "there.json"
    words = ["check", str(shots), "--run-scripts", "--quiet"]
    assert main([*words, "--json", str(here)]) == 2  # e.blend is none

    workers = {name: farm.add_worker(name) for name in ("one", "two")}
    wait_for(lambda: len(farm.ask(lambda c: c.scheduler_info()["workers"])) == 2)
    code = "import sys; from fettle.addon.command_line import main; sys.exit(main(sys.argv[1:]))"
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words, "--json", str(there), "--cluster", farm.address],
        stderr=subprocess.PIPE,
        text=True,
    )

    def find_who_reads_the_slow_shot():
        """Return the worker that has the slow shot and nothing else: it is in the midst of it."""

        def look(dask_scheduler):
            return [
                str(worker.name)
                for worker in dask_scheduler.workers.values()
                if [task.key.startswith("fettle-2-") for task in worker.processing] == [True]
            ]

        return farm.ask(lambda client: client.run_on_scheduler(look))

    busy = []
    wait_for(lambda: busy or busy.extend(find_who_reads_the_slow_shot()))
    (busy,) = busy
    os.kill(workers[busy].pid, signal.SIGKILL)
    _, err = process.communicate(timeout=180)
    assert process.returncode == 2, err
    assert strip_times(there) == strip_times(here)
    assert len(json.loads(there.read_text())["shots"]) == 4
    assert "Traceback" not in err


def test_interrupt_ends_the_shot_a_worker_is_in_the_midst_of(farm, shots, tmp_path):
    farm.add_worker("three")
    out, pid_file = tmp_path / "out.json", tmp_path / "reader.pid"
    shot = _save_shot_that_tells_who_reads_it(tmp_path / "long.blend", pid_file)
    code = "import sys; from fettle.addon.command_line import main; sys.exit(main(sys.argv[1:]))"
    words = ["check", str(shot), "--run-scripts", "--quiet", "--json", str(out)]
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words, "--cluster", farm.address],
        stderr=subprocess.PIPE,
        text=True,
    )
    wait_for(lambda: pid_file.is_file() and pid_file.read_text())
    reader = int(pid_file.read_text())
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130, err
    assert "Traceback" not in err
    wait_for(lambda: not Path("/proc", str(reader)).exists(), seconds=20.0)


def _save_shot_that_tells_who_reads_it(path, pid_file):
    """A shot whose own Python writes down its process and then takes its time."""
    small_rig.build_shot(locked=True)
    text = bpy.data.texts.new("slow.py")
    text.write(
        "import os, pathlib, time\n"
        f"pathlib.Path({str(pid_file)!r}).write_text(str(os.getpid()))\n"
        "time.sleep(120)\n"
    )
    text.use_module = True
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


def test_nobody_at_the_address_gets_one_line(shots, monkeypatch, capfd):
    monkeypatch.setattr(cluster, "PATIENCE_S", 1)
    status = main(["check", str(shots / "a.blend"), "--quiet", "--cluster", "tcp://127.0.0.1:9"])
    (line,) = [line for line in capfd.readouterr().err.splitlines() if "fettle" in line]
    assert status == 2
    assert line.startswith("fettle check: tcp://127.0.0.1:9: no scheduler answers there")


def test_somebody_else_at_the_address_gets_one_line(shots, monkeypatch, capfd):
    monkeypatch.setattr(cluster, "PATIENCE_S", 1)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = f"tcp://127.0.0.1:{silent.getsockname()[1]}"
        status = main(["check", str(shots / "a.blend"), "--quiet", "--cluster", address])
    (line,) = [line for line in capfd.readouterr().err.splitlines() if "fettle" in line]
    assert status == 2
    assert "no scheduler answers there (something listens, but is silent for 1 s)" in line


def test_worker_with_another_fettle_says_so(shots):
    from fettle.addon.jobs import make_job

    job = make_job(str(shots / "a.blend"), settings="")
    (error,) = cluster.run_remote(job, "9.9.9")["errors"]
    assert "was sent by Fettle 9.9.9" in error["error"]


def test_call_from_this_process_reads_and_leaves_no_thread(farm, shots, tmp_path):
    farm.add_worker("four")
    out = tmp_path / "out.json"
    words = ["check", str(shots / "a.blend"), "--quiet", "--json", str(out)]
    main([*words, "--cluster", farm.address])
    assert len(json.loads(out.read_text())["shots"]) == 1
    assert threading.enumerate() == [threading.main_thread()]


def test_without_the_engine_the_command_says_how_to_get_it(shots, monkeypatch, capfd):
    monkeypatch.setattr(cluster, "find_engine", lambda: None)
    assert main(["check", str(shots), "--cluster", "tcp://127.0.0.1:9"]) == 2
    assert "pip install fettle[cluster]" in capfd.readouterr().err
