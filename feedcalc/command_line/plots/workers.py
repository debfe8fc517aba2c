"""Run the same function on many tasks: in this process, in several, or on a Dask cluster, with bounded memory.

All three are reached through the interface of `concurrent.futures`, and results keep the order of the tasks, so the
same bytes come of each. A keyboard interrupt is handled by the parent alone.
"""

from __future__ import annotations

import logging
import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from importlib import import_module
from multiprocessing import get_context, parent_process
from threading import Thread, current_thread, main_thread
from typing import Any, TypeVar

from feedcalc.command_line.plots.failures import PlanningFailed
from feedcalc.words.errors import FeedcalcError
from feedcalc.words.messages import said

CLUSTER_WAIT = "15s"
SECONDS_BETWEEN_CHECKS = 0.2

Task = TypeVar("Task")
Result = TypeVar("Result")


@contextmanager
def worker_pool(processes: int, cluster: str) -> Iterator[Executor | None]:
    """Yield the executor of so many processes or of a cluster (``local`` or an address); None is this process."""
    if cluster:
        with _cluster(processes, cluster) as executor:
            yield executor
        return
    if processes == 1:
        yield None
        return
    # Spawned, not forked: a fork of a process with threads (a progress bar has one) can hang.
    executor = ProcessPoolExecutor(processes, get_context("spawn"), initializer=_serve_parent)
    try:
        yield executor
    except BrokenProcessPool:
        raise PlanningFailed(
            said(
                "A worker process ended before its work was done. Perhaps there was too little memory. Try fewer "
                "--processes."
            )
        ) from None
    finally:
        executor.shutdown(wait=True, cancel_futures=True)


def _serve_parent() -> None:
    """In a worker process: ignore interrupts, and end when the parent does, even if it is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@contextmanager
def _cluster(processes: int, address: str) -> Iterator[Executor]:
    """Yield the executor of a Dask cluster, started here for the address ``local``."""
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise PlanningFailed(
            said("A cluster needs two more packages. Install them with: pip install 'feedcalc[cluster]'")
        ) from None
    # Failures are reported in one line, not by its log.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    cluster: Any = None
    try:
        if address == "local":
            with _children_ignore_interrupts():
                cluster = distributed.LocalCluster(
                    n_workers=processes, threads_per_worker=1, dashboard_address=None, silence_logs=logging.CRITICAL
                )
        client: Any = distributed.Client(cluster or address, timeout=CLUSTER_WAIT)
    except (OSError, ValueError) as reason:
        where = {"address": address, "reason": " ".join(str(reason).split())[:200]}
        raise PlanningFailed(said("No cluster answers at {address}: {reason}", **where)) from None
    try:
        yield client.get_executor(pure=False)
    except (FeedcalcError, KeyboardInterrupt):
        raise
    except Exception as reason:
        words = " ".join(f"{type(reason).__name__}: {reason}".split())[:300]
        raise PlanningFailed(said("The cluster gave up: {reason}", reason=words)) from None
    finally:
        client.close()
        if cluster is not None:
            cluster.close()


@contextmanager
def _children_ignore_interrupts() -> Iterator[None]:
    """Make the processes that are started here ignore interrupts: a new program inherits ignored signals."""
    if current_thread() is not main_thread():
        yield
        return
    previous = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, previous)


@contextmanager
def hold_interrupts() -> Iterator[Callable[[], None]]:
    """Hold back a keyboard interrupt and yield a function that raises it; a second interrupt is raised at once.

    Python loses an interrupt that it raises in a callback of the garbage collector, and Dask has such a callback.
    """
    is_interrupted = False

    def raise_held() -> None:
        if is_interrupted:
            raise KeyboardInterrupt

    def hold(*_: object) -> None:
        nonlocal is_interrupted
        is_interrupted = True
        signal.signal(signal.SIGINT, previous)

    previous = signal.getsignal(signal.SIGINT)
    if current_thread() is not main_thread() or previous is not signal.default_int_handler:
        yield raise_held
        return
    signal.signal(signal.SIGINT, hold)
    try:
        yield raise_held
    finally:
        signal.signal(signal.SIGINT, previous)


def map_in_order(
    work: Callable[[Task], Result],
    tasks: Iterable[Task],
    workers: Executor | None,
    max_pending: int,
    raise_held: Callable[[], None] = lambda: None,
) -> Iterator[Result]:
    """Yield the results of all tasks in their order, with at most ``max_pending`` of them submitted at once.

    ``raise_held`` is called before each result and while one is waited for (see `hold_interrupts`).
    """
    pending: deque[Future[Result]] = deque()
    for task in tasks:
        raise_held()
        if workers is None:
            yield work(task)
            continue
        pending.append(workers.submit(work, task))
        if len(pending) == max_pending:
            yield _result(pending.popleft(), raise_held)
    while pending:
        yield _result(pending.popleft(), raise_held)


def _result(future: Future[Result], raise_held: Callable[[], None]) -> Result:
    while True:
        raise_held()
        try:
            return future.result(timeout=SECONDS_BETWEEN_CHECKS)
        except TimeoutError:
            if future.done():
                raise
