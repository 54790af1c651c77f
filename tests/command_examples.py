"""The command line as a script and as a person who errs use it."""

from __future__ import annotations

import json

import pytest

from review_ui.command_line import main


def as_json(capsys: pytest.CaptureFixture[str], *words: str) -> dict:
    """What a command answers with ``--json -``."""
    capsys.readouterr()
    assert main([*words, "--json", "-"]) == 0, capsys.readouterr().err
    return json.loads(capsys.readouterr().out)


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What a command says where it does not do what was asked; never a traceback."""
    capsys.readouterr()
    assert main([*words]) == 2
    said = capsys.readouterr().err
    assert "Traceback" not in said
    return said
