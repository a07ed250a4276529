"""The proposal on a shipped example, coarse: what it tries, what it offers, and that the offer can be taken over."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

import diewright
from diewright.desk import Desk
from diewright.errors import Cancelled
from diewright.job.stage import Result
from diewright.proposal import stage as proposal
from diewright.proposal.search import GOOD, Setting, Trial

EXAMPLES = Path(diewright.__file__).parent / "examples"
COARSE = {"part.target_edge": 12.0, "part.chord_error": 0.3, "proposal.tryouts": 1}


def example(name: str, folder: Path) -> Desk:
    shutil.copytree(EXAMPLES / name, folder / name, ignore=shutil.ignore_patterns("results", "history"))
    desk = Desk(folder / name)
    desk.edit(COARSE)
    return desk


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Desk, Result]:
    desk = example("fascia", tmp_path_factory.mktemp("proposal"))
    return desk, desk.work("proposal")


def test_it_goes_from_quick_to_slow_and_says_what_it_tried(worked: tuple[Desk, Result]) -> None:
    _, result = worked
    tried = result.tables["tried"]
    how = tried["how"].tolist()
    assert how == sorted(how, key=["faces", "one-step", "tryout"].index)
    assert how.count("tryout") == result.values["tryouts"] == 1
    assert how.count("one-step") == 4
    force = tried["force_kN"][tried["how"] == "one-step"]
    thinning = tried["thinning_pct"][tried["how"] == "one-step"]
    assert np.all(np.diff(force) > 0)
    assert np.all(np.diff(thinning) > 0)  # more force stretches more
    assert result.values["stops"] == 0
    assert result.meshes["drawn"].mesh.area > 0.9 * result.meshes["drawn"].cell["thickness"].size


def test_the_offer_is_taken_over_and_draws_without_a_stop(worked: tuple[Desk, Result]) -> None:
    desk, result = worked
    desk.take("proposal")
    assert desk.job.tryout.blankholder_force_kn == pytest.approx(result.values["force_kN"], rel=5e-3)
    assert desk.job.faces.blankholder == result.values["blankholder"]
    assert not [f for f in desk.work("faces").findings if f.severity == "stop"]


def test_what_is_stated_stays(worked: tuple[Desk, Result]) -> None:
    desk, _ = worked
    force = desk.job.tryout.blankholder_force_kn
    inputs = proposal.STAGE.inputs(desk.job)
    upstream = {name: desk.work(name) for name in proposal.STAGE.needs}
    from diewright.watch import Watch

    own = proposal._Proposal(inputs, upstream, {}, Watch())
    seen = []

    def run(kind: str, s: Setting) -> Trial:
        seen.append(s)
        return Trial(s, 5000.0, 1, says=("tryout.tear",))

    own._tryout = run  # type: ignore[method-assign]
    result = own.work()
    assert {s.force for s in seen} == {1000.0 * float(force)}
    assert result.values["take_over"]["fields"] == {}
    assert [f.key for f in result.findings] == ["proposal.none"]


def test_a_part_that_needs_draws_is_said_after_one_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = example("cup", tmp_path)
    desk.edit({"proposal.tryouts": 9})
    runs = []

    def torn(self: proposal._Proposal, kind: str, s: Setting) -> Trial:
        runs.append(s)
        return Trial(s, 5000.0, 1, says=("tryout.tear",))

    monkeypatch.setattr(proposal._Proposal, "_tryout", torn)
    result = desk.work("proposal")
    assert len(runs) == 1
    assert [f.key for f in result.findings] == ["proposal.draws"]
    assert result.values["draws"] >= 2
    assert result.values["score"] >= GOOD


def test_a_stop_is_heard(worked: tuple[Desk, Result]) -> None:
    desk, _ = worked
    heard = []
    with pytest.raises(Cancelled):
        desk.work(
            "proposal",
            again=True,
            listen=lambda p: heard.append(p.stage) if p.stage == "proposal" else None,
            cancelled=lambda: heard.count("proposal") > 2,
        )
