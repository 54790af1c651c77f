"""How far long work has come, as a bar where somebody watches."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tqdm import tqdm


@contextmanager
def progress_bar(unit: str) -> Iterator[Callable[[int, int], None]]:
    """A function of what is done and how much there is; it draws nothing where nobody watches."""
    with tqdm(unit=unit, file=sys.stderr, disable=not sys.stderr.isatty(), leave=False) as bar:

        def report(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        yield report
