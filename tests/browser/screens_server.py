"""The real screens on a folder of records, started as a person would, and stopped or killed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from types import TracebackType

START_S = 60  # a loaded machine with slow disks; usually a few seconds


class ScreensServer:
    """``trayglow review`` in its own process group, on a port of its own."""

    def __init__(self, data: Path, log: Path) -> None:
        self.data, self.log = data, log
        with socket.socket() as trial:
            trial.bind(("127.0.0.1", 0))
            self.port = trial.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        environment = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith("TRAYGLOW_") and not name.startswith("COV_")
        }
        words = ["review", "--data", str(self.data), "--port", str(self.port), "--no-browser"]
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "review_ui.command_line", *words],
                stdout=log,
                stderr=subprocess.STDOUT,
                env=environment,
                start_new_session=True,
            )
        limit = time.monotonic() + START_S
        while time.monotonic() < limit:
            try:
                with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=2) as answer:
                    if answer.status == 200:
                        return
            except (urllib.error.URLError, OSError):
                pass
            assert self._process.poll() is None, f"the screens ended:\n{self.said()}"
            time.sleep(0.3)
        raise AssertionError(f"the screens did not answer in {START_S} s:\n{self.said()}")

    def said(self) -> str:
        """All that the server has printed."""
        return self.log.read_text(encoding="utf-8", errors="replace") if self.log.exists() else ""

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        self._end(signal.SIGTERM)

    def _end(self, how: signal.Signals) -> None:
        if self._process is None:
            return
        if self._process.poll() is None:
            os.killpg(self._process.pid, how)
            try:
                self._process.wait(15)
            except subprocess.TimeoutExpired:
                os.killpg(self._process.pid, signal.SIGKILL)
                self._process.wait(15)
        self._process = None

    def __enter__(self) -> ScreensServer:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
