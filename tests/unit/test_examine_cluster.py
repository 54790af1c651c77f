"""``trayglow examine --cluster``, against a real Dask scheduler and worker on this computer."""

from __future__ import annotations

import json
import sys

import pytest
from test_examine_command import picture, run

from review_ui.errors import UsageError

# The cluster package's own use of what other packages will drop is not ours to mend.
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture
def address():
    distributed = pytest.importorskip("distributed", reason="the package for clusters is not installed")
    with distributed.LocalCluster(
        n_workers=1, processes=False, protocol="tcp", host="127.0.0.1", dashboard_address=None
    ) as cluster:
        yield cluster.scheduler_address


def test_a_cluster_gives_the_same_results_as_this_computer(tmp_path, monkeypatch, address, capsys):
    monkeypatch.chdir(tmp_path)
    photos = [picture(tmp_path / f"{n}.png", shade=10 * n).name for n in range(4)] + ["absent.png"]
    assert run(*photos, "--day", 8, "--json", "here.json") == 1
    assert run(*photos, "--day", 8, "--json", "there.json", "--masks", "m", "--cluster", address) == 1
    here, there = (json.loads((tmp_path / name).read_text()) for name in ("here.json", "there.json"))
    # The cluster is given whole paths, since its computers work in other folders.
    there["photos"][4]["error"] = there["photos"][4]["error"].replace(f"{tmp_path}/", "")
    assert here == there
    assert len(list((tmp_path / "m").iterdir())) == 8
    assert "absent.png was not found" in capsys.readouterr().err


def test_a_cluster_that_does_not_answer_is_said(tmp_path):
    pytest.importorskip("distributed", reason="the package for clusters is not installed")
    with pytest.raises(UsageError, match="--cluster: no scheduler answers at nonsense; check the address"):
        run(picture(tmp_path / "a.png"), "--day", 8, "--cluster", "nonsense")


def test_without_the_package_the_person_is_told_how_to_install_it(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r'install it with: pip install "trayglow\[cluster\]"'):
        run(picture(tmp_path / "a.png"), "--day", 8, "--cluster", "tcp://127.0.0.1:8786")
