from pathlib import Path

import pytest
from toys import TOYS

from diewright.desk import Desk
from diewright.job import file as job_file


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    job = tmp_path / "a job"
    job.mkdir()
    (job / "job.toml").write_text(job_file.text_of({"job": {"title": "Toy"}, "sheet": {"thickness": 0.8}}))
    return job


@pytest.fixture
def desk(folder: Path) -> Desk:
    return Desk(folder, TOYS)
