# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Started by Blender itself: plays the scenarios of one file in its window and ends it.

``blender ... --python run_inside.py -- SCENARIO_FILE REPORT.json PICTURE_FOLDER``
"""

import importlib.util
import os
import sys
import traceback
from pathlib import Path

sys.dont_write_bytecode = True  # the checkout may be somebody else's
HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

import bpy  # noqa: E402
import driver  # noqa: E402


def load(path):
    """Import a scenario file under its own name."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module
    spec.loader.exec_module(module)
    return module


def end(status):
    """Leave at once: Blender would ask whether to save."""
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)


def main():
    """Start the run; Blender's event loop carries it on."""
    scenario_file, report, pictures = sys.argv[sys.argv.index("--") + 1 :]
    driver.set_preferences()
    scenarios = driver.find_scenarios(load(Path(scenario_file)))
    run = driver.Run(scenarios, Path(report), Path(pictures))

    def turn():
        try:
            pause = run.turn()
        except BaseException:
            traceback.print_exc()
            end(3)
        if pause is None:
            end(0)
        return pause

    # The first second belongs to the window: it has to be drawn before it can be clicked.
    bpy.app.timers.register(turn, first_interval=1.0, persistent=True)


try:
    main()
except BaseException:
    traceback.print_exc()
    end(3)
