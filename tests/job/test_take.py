"""Taking over what a result offers: fields are set, files are copied under names that say their revision."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import BaseModel, ConfigDict

from diewright.desk import Desk
from diewright.errors import InputError
from diewright.job.graph import Graph
from diewright.job.stage import Result, Stage
from diewright.stages import GRAPH as ALL


class Thickness(BaseModel):
    model_config = ConfigDict(frozen=True)
    thickness: float


def _offering(inputs, upstream, files, watch):
    if inputs.thickness > 5.0:
        return Result()
    offer = {"fields": {"blank.friction": 0.07}, "files": {"part.file": "part.step"}}
    return Result(values={"take_over": offer}, files={"part.step": f"{inputs.thickness}".encode()})


GRAPH = Graph(
    [
        Stage(
            name="first",
            title="The first",
            version=1,
            packages=("watch",),
            needs=(),
            inputs=lambda j: Thickness(thickness=j.sheet.thickness),
            work=_offering,
        )
    ]
)


@pytest.fixture
def desk(folder: Path) -> Desk:
    return Desk(folder, GRAPH)


def test_fields_and_files_are_taken_over_and_can_be_undone(desk: Desk) -> None:
    desk.work("first")
    before = desk.job
    desk.take("first")
    assert desk.job.blank.friction == 0.07
    assert desk.job.part.file == "part-1.step"
    assert (desk.folder / "part-1.step").read_bytes() == f"{desk.job.sheet.thickness}".encode()
    from diewright.job import file as job_file

    job_file.undo(desk.folder)
    assert desk.job == before


def test_another_revision_gets_the_next_number_and_the_same_one_none(desk: Desk) -> None:
    desk.work("first")
    desk.take("first")
    desk.take("first")
    assert sorted(p.name for p in desk.folder.glob("part-*.step")) == ["part-1.step"]
    desk.edit({"sheet.thickness": 2.0})
    desk.work("first")
    desk.take("first")
    assert desk.job.part.file == "part-2.step"


def test_nothing_offered_or_out_of_date_is_one_sentence(desk: Desk) -> None:
    with pytest.raises(InputError, match="The first is not worked"):
        desk.take("first")
    desk.work("first")
    desk.edit({"sheet.thickness": 2.0})
    with pytest.raises(InputError, match="out of date"):
        desk.take("first")
    desk.edit({"sheet.thickness": 6.0})
    desk.work("first")
    with pytest.raises(InputError, match="offers nothing"):
        desk.take("first")


def test_titles_of_many_things_get_their_verb() -> None:
    verbs = {s.title: s.verbs for s in ALL.stages.values()}
    many = {title for title, both in verbs.items() if both == ("are", "were")}
    assert many == {"The faces", "The faces as CAD", "The draws", "The details of the faces", "Cut lines", "Scrap and steels", "Bends"}
    assert verbs["The blank"] == verbs["The tryout of the draws"] == verbs["Press plan"] == ("is", "was")
