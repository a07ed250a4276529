from pathlib import Path

import pytest
from printed import STAMP, text_of
from synthetic import desk_in

from diewright.book.paper import make


@pytest.fixture(scope="session")
def desk(tmp_path_factory):
    desk = desk_in(tmp_path_factory.mktemp("print") / "job")
    desk.accept("blank.thinning", "Agreed with the buyer, the wall is hidden.", "C. Checker")
    return desk


@pytest.fixture(scope="session")
def pdf(desk) -> bytes:
    return make(desk, timestamp=STAMP)


@pytest.fixture(scope="session")
def words(pdf) -> str:
    return text_of(pdf)


@pytest.fixture
def folder(tmp_path) -> Path:
    return tmp_path / "job"
