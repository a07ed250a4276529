import io
from pathlib import Path

import pytest
from pypdf import PdfReader
from synthetic import desk_in

from diewright.book.paper import make

STAMP = 1_790_000_000


def read(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def text_of(pdf: bytes) -> str:
    """All text of the PDF, with line ends and narrow spaces as plain spaces."""
    words = " ".join(page.extract_text() for page in read(pdf).pages)
    return " ".join(words.replace("\u202f", " ").replace("\u200b", "").split())


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
