"""``trayglow review`` starts a server that answers, with our theme, wherever it is started from."""

from __future__ import annotations

import http.client
import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from incubation import records as rec
from review_ui.command_line import main
from review_ui.review import option_words, screen_options

CHECKOUT = Path(__file__).parents[2]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answer(port: int, path: str) -> tuple[int, str]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", path)
        response = connection.getresponse()
        return response.status, response.read().decode("utf-8", "replace")
    finally:
        connection.close()


@pytest.mark.parametrize("window", [["--no-browser"], []], ids=["no window", "a window"])
def test_the_server_answers_from_another_folder(tmp_path, window):
    """On a new machine (an empty home) too, and without asking anything first."""
    port = free_port()
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "HOME": str(tmp_path), "BROWSER": "true"}
    server = subprocess.Popen(
        [sys.executable, "-m", "review_ui.command_line", "review"]
        + ["--data", "records", "--port", str(port), *window],
        cwd=tmp_path,
        env=environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        for _ in range(600):
            try:
                status = answer(port, "/_stcore/health")
                break
            except OSError:
                assert server.poll() is None, server.stdout.read()
                time.sleep(0.1)
        assert status == (200, "ok")
        assert answer(port, "/review")[0] == 200
    finally:
        server.terminate()
        said = server.communicate(timeout=20)[0]
    assert f"http://127.0.0.1:{port}" in said
    assert "mail" not in said
    assert "--address 0.0.0.0" in said
    assert (tmp_path / "records" / "trayglow.sqlite3").is_file()


def test_theme_and_privacy_are_among_the_options():
    options = screen_options(address="127.0.0.1", port=9000, browser=False)
    assert options["theme.base"] == "dark"
    assert options["browser.gatherUsageStats"] is False
    assert options["client.showErrorDetails"] == "none"
    words = option_words(options)
    assert "--server.headless=true" in words
    assert "--server.port=9000" in words


def test_streamlit_knows_every_option_by_that_name():
    from streamlit import config

    known = config.get_config_options()
    for name in screen_options(address="127.0.0.1", port=9000, browser=True):
        assert name in known, name


@pytest.mark.parametrize("port", ["80", "0", "x", "70000"])
def test_a_port_that_is_none_is_refused(port, capsys):
    assert main(["review", "--port", port]) == 2
    assert "is not a port" in capsys.readouterr().err


def test_a_port_in_use_is_named(tmp_path, capsys):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert main(["review", "--data", str(tmp_path), "--port", str(port), "--no-browser"]) == 2
    assert str(port) in capsys.readouterr().err


def test_records_that_cannot_be_opened_stop_it_with_a_sentence(tmp_path, capsys, monkeypatch):
    (tmp_path / "trayglow.sqlite3").write_bytes(b"no database" * 200)
    assert main(["review", "--data", str(tmp_path), "--no-browser"]) == 2
    error = capsys.readouterr().err
    assert len(error.strip().splitlines()) == 1
    assert "Traceback" not in error
    with pytest.raises(rec.RecordsError):
        rec.open_records(tmp_path)
