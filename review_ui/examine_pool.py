"""Examines many photos at once, on this computer or on a cluster.

Both go through the standard ``concurrent.futures.Executor`` interface. No photo can stop the
others: an exception is that photo's result, and where a worker process dies (a decoder that
crashes, too little memory), the photos it may have died of are tried again one at a time.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager

from review_ui.errors import UsageError
from review_ui.examine_photo import ExaminedPhoto, PhotoTask, failed, prepare_worker
from vision.photo import printable

Work = Callable[[PhotoTask], ExaminedPhoto]
Numbered = tuple[int, ExaminedPhoto]

_MOST_PROCESSES = 61  # the most that a process pool can have on Windows
# Each process is one thread: more would fight over the same cores.
_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


def processor_count() -> int:
    """Processors this program may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def examine_here(work: Work, tasks: Sequence[PhotoTask], *, processes: int) -> Iterator[Numbered]:
    """Examine photos in a pool of processes, a single photo in this one.

    Parameters
    ----------
    work
        Examines one photo; importable by name, as every function sent to another process.
    tasks
        The photos.
    processes
        How many at once.

    Yields
    ------
    Position in ``tasks`` and result, as each is ready; every position comes once.
    """
    if len(tasks) == 1:
        yield 0, work(tasks[0])
        return
    left = dict(enumerate(tasks))
    while left:
        yield from _one_pool(work, left, processes)
        # Tasks are started in order, so whatever ran when a process died is among the first left.
        for number in list(left)[:processes]:
            alone = {number: left.pop(number)}
            task = alone[number]
            yield from _one_pool(work, alone, 1)
            if alone:
                yield number, failed(task, _ended(task))


def _one_pool(work: Work, left: dict[int, PhotoTask], processes: int) -> Iterator[Numbered]:
    """Take finished tasks out of ``left`` and yield them, until done or a process dies."""
    with _one_thread_each():
        try:
            pool = ProcessPoolExecutor(
                min(processes, len(left), _MOST_PROCESSES),
                # A forked copy of a process that has started threads can hang.
                mp_context=multiprocessing.get_context("spawn"),
                initializer=prepare_worker,
            )
        except (OSError, NotImplementedError, ImportError):  # a system without shared semaphores
            for number in list(left):
                yield number, work(left.pop(number))
            return
        try:
            for number, future in _finished(pool, work, left):
                try:
                    result = future.result()
                except BrokenProcessPool:
                    continue
                except Exception as error:  # noqa: BLE001 (a result that cannot be sent, for one)
                    result = failed(left[number], _fault(left[number], error))
                del left[number]
                yield number, result
        except BrokenProcessPool:  # while handing out the tasks
            return
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def examine_on(executor: Executor, work: Work, tasks: Sequence[PhotoTask]) -> Iterator[Numbered]:
    """Examine photos on any other executor, which looks after its own workers.

    Yields
    ------
    As :func:`examine_here`.
    """
    for number, future in _finished(executor, work, dict(enumerate(tasks))):
        try:
            yield number, future.result()
        except Exception as error:  # noqa: BLE001 (a worker lost, a package missing there, ...)
            yield number, failed(tasks[number], _fault(tasks[number], error))


@contextmanager
def cluster_executor(address: str) -> Iterator[Executor]:
    """The executor of a Dask cluster whose scheduler listens at ``address``.

    Raises
    ------
    UsageError
        Where the package for clusters is not installed, or nothing answers there.
    """
    try:
        from distributed import Client
    except ImportError:
        raise UsageError(
            "--cluster needs a package that is not installed; install it with: "
            'pip install "trayglow[cluster]"'
        ) from None
    try:
        client = Client(address, timeout="10s")
    except (OSError, TimeoutError, ValueError) as error:
        raise UsageError(
            f"--cluster: no scheduler answers at {printable(address)}; check the address, such as "
            "tcp://192.168.1.5:8786, and that the cluster is running."
        ) from error
    with client:
        # pure=False: the same photo given twice, or changed meanwhile, is read again.
        yield client.get_executor(pure=False)


def _finished(
    executor: Executor, work: Work, tasks: dict[int, PhotoTask]
) -> Iterator[tuple[int, Future[ExaminedPhoto]]]:
    numbers = {executor.submit(work, task): number for number, task in tasks.items()}
    for future in as_completed(numbers):
        yield numbers[future], future


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Processes started meanwhile get this environment; numerical libraries read it once, at start."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(_ONE_THREAD)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _ended(task: PhotoTask) -> str:
    return (
        f"{printable(task.photo)} made the reading process end, twice: it is damaged or too large for "
        "the free memory; save it again, smaller, as a JPEG."
    )


def _fault(task: PhotoTask, error: Exception) -> str:
    text = " ".join(f"{type(error).__name__}: {error}".split())[:300]
    return f"{printable(task.photo)} could not be read because its worker failed ({text}); try it again."
