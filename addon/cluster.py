# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Read shots on many machines, by way of Dask distributed.

A studio runs its scheduler and workers as that engine's documentation says; here nothing is
started, only used. Each worker has the same Fettle and sees the shots under the same paths. Each
shot is still read in a process of its own there. A worker that dies hands its shot to another;
the engine gives a shot up that took several workers along.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from typing import Any

from ..core_math import find_version
from .jobs import Job, Result, make_failure, run_job

MISSING = (
    "--cluster needs Dask distributed, which is not installed here; "
    "install it with: pip install fettle[cluster]"
)
PATIENCE_S = 20
"""How long a scheduler may take to answer."""
END_S = 10
"""How long the engine may take to leave what it was doing."""
ASK_EVERY_S = 1.0
"""How often a running shot asks whether the call that wanted it was stopped."""


class ClusterError(RuntimeError):
    """The cluster cannot be used: what, where, what to do, in one line."""


def run_remote(job: Job, version: str, stopped: str | None = None) -> Result:
    """Do one job where this is called: on a machine of the cluster.

    `stopped` names the event of the scheduler that tells to end at once.
    """
    if find_version() != version:
        words = f"was sent by Fettle {version} to a worker that has {find_version()}"
        return make_failure(job, f"{words}; install the same version on both")
    return run_job(job, stop=None if stopped is None else _ask_scheduler(stopped))


def _ask_scheduler(name: str) -> Callable[[], bool]:
    """Return a question for a running job: was the call stopped? Asked now and then only."""
    event = find_engine().Event(name)
    last = time.monotonic()

    def ask() -> bool:
        nonlocal last
        if time.monotonic() - last < ASK_EVERY_S:
            return False
        last = time.monotonic()
        # A scheduler that went away is the engine's to notice; the shot goes on meanwhile.
        with contextlib.suppress(Exception):
            return bool(event.is_set())
        return False

    return ask


def run_on_cluster(jobs: Sequence[Job], address: str) -> Iterator[tuple[int, Result]]:
    """Do jobs on a cluster and yield each with its number as soon as it is done.

    Closing the generator, or an interrupt, ends the shots that still run.

    Parameters
    ----------
    jobs : sequence of dict
        Made by `jobs.make_job`.
    address : str
        Of the scheduler, such as tcp://host:8786.

    Raises
    ------
    ClusterError
        When the engine is not installed, or nobody answers at the address.
    """
    distributed = find_engine()
    if distributed is None:
        raise ClusterError(MISSING)
    with _run_loop(distributed) as loop:
        try:
            asyncio.run_coroutine_threadsafe(
                _greet(distributed, address), loop.asyncio_loop
            ).result()
            client = distributed.Client(
                address, timeout=PATIENCE_S, set_as_default=False, loop=loop
            )
        except (OSError, ValueError) as error:
            reason = " ".join(str(error).split()) or type(error).__name__
            raise ClusterError(f"{address}: no scheduler answers there ({reason})") from None
        yield from _do_jobs(distributed, client, jobs)


@contextlib.contextmanager
def _run_loop(distributed: Any) -> Iterator[Any]:
    """Run an event loop of our own in a thread that ends with the block.

    A client that reaches nobody leaves the loop it started running for as long as the process
    lives, and Blender is not made for Python that goes on in a thread beside it.
    """
    started: Future[tuple[Any, asyncio.Event]] = Future()

    async def wait_for_the_end() -> None:
        end = asyncio.Event()
        started.set_result((distributed.utils.IOLoop.current(), end))
        await end.wait()

    thread = threading.Thread(target=lambda: asyncio.run(wait_for_the_end()), daemon=True)
    thread.start()
    loop, end = started.result()
    try:
        yield loop
    finally:
        loop.add_callback(end.set)
        thread.join(END_S)


async def _greet(distributed: Any, address: str) -> None:
    """See that a scheduler answers: the engine waits for ever for one who listens and is silent."""
    arguments = distributed.Security().get_connection_args("client")
    connecting = distributed.connect(address, timeout=PATIENCE_S, **arguments)
    try:
        # The engine's own timeout comes first where nobody listens, with the better words.
        connection = await asyncio.wait_for(connecting, PATIENCE_S + 1)
    except TimeoutError:
        raise TimeoutError(f"something listens, but is silent for {PATIENCE_S} s") from None
    await connection.close()


def _do_jobs(distributed: Any, client: Any, jobs: Sequence[Job]) -> Iterator[tuple[int, Result]]:
    """Hand the jobs to a client, yield what comes back, and close the client."""
    numbers: dict[Any, int] = {}
    run = uuid.uuid4().hex
    waiting = len(jobs)
    try:
        version = find_version()
        for number, job in enumerate(jobs):
            key = f"fettle-{number}-{run}"
            future = client.submit(run_remote, job, version, run, key=key, pure=False)
            numbers[future] = number
        for future in distributed.as_completed(list(numbers), loop=client.loop):
            number = numbers[future]
            result = _take_result(future, jobs[number])
            future.release()
            waiting -= 1
            yield number, result
    finally:
        if waiting:
            # Cancelling takes back what has not begun; a shot under way has to be told.
            with contextlib.suppress(Exception):
                distributed.Event(run, client=client).set()
        client.cancel(list(numbers), force=True)
        client.close()


def find_engine() -> Any:
    """Return the engine's module, None where it is not installed."""
    try:
        import distributed
    except ImportError:
        return None
    return distributed


def _take_result(future: Any, job: Job) -> Result:
    error = future.exception()
    if error is None:
        result: Result = future.result()
        return result
    name = type(error).__name__
    if name == "KilledWorker":
        return make_failure(job, "took several workers of the cluster along; look at it alone")
    words = " ".join(str(error).split())[:200]
    return make_failure(job, f"could not be done on the cluster ({name}: {words})")
