"""The job file: one clear sentence for every wrong value, comments kept, edits undoable."""

from __future__ import annotations

from pathlib import Path

import pytest

from diewright.errors import DeskError, FileError, InputError
from diewright.job import file as job_file
from diewright.job.schema import Job

BAD = [
    ("[sheet]\nthickness = 0", "sheet.thickness: 0 cannot be used: expected 0.05 or more mm."),
    ("[sheet]\nthickness = -1.0", "sheet.thickness: -1.0 cannot be used: expected 0.05 or more mm."),
    ("[sheet]\nthickness = nan", "sheet.thickness: nan cannot be used: expected a finite number."),
    ("[sheet]\nthickness = inf", "sheet.thickness: inf cannot be used: expected a finite number."),
    ('[sheet]\nthickness = "thick"', "sheet.thickness: 'thick' cannot be used: expected a number."),
    ("[sheet]\nthickness = 50", "sheet.thickness: 50 cannot be used: expected 12 or less mm."),
    ("[sheet]\nthicknes = 1", "sheet.thicknes: there is no field called 'thicknes'. Known fields here: material, thickness,"),
    ("[shee]\nthickness = 1", "shee: there is no field called 'shee'. Known fields here: format, job, part,"),
    ('[sheet]\nyield_surface = "round"', "sheet.yield_surface: 'round' cannot be used: expected one of 'mises', 'hill48', 'yld2000'."),
    ('[sheet]\nmaterial = ""', "sheet.material: '' cannot be used: expected at least 1 characters."),
    ("sheet = 3", "sheet: 3 cannot be used: expected a table of fields."),
    ('[part]\nfile = "../../etc/passwd"', "part.file: '../../etc/passwd' cannot be used: a file must lie inside the job folder"),
    ('[part]\nfile = "/etc/passwd"', "part.file: '/etc/passwd' cannot be used: a file must lie inside the job folder"),
    ('[part]\nfile = "C:\\\\part.step"', "a file must lie inside the job folder"),
    ('[part]\nfile = "a\\u0000b"', "may not hold control characters"),
    ('[part]\nfile = "what?.step"', "may not hold control characters or any of"),
    ('[part]\npress_direction = [0, 0, 0]', "a direction needs a length above zero"),
    ('[part]\npress_direction = [0, 1]', "part.press_direction"),
    ('[part]\npress_direction = "down"', "part.press_direction: 'down' cannot be used: expected one of 'auto'"),
    ('[part]\nunit = "furlong"', "expected one of '', 'mm', 'cm', 'm', 'inch'."),
    ("[job]\nquantity = 1.5", "job.quantity: 1.5 cannot be used: expected a whole number."),
    ("[job]\nquantity = 0", "job.quantity: 0 cannot be used: expected 1 or more parts a year."),
    ("[blank]\nfriction = 3", "blank.friction: 3 cannot be used: expected 0.6 or less."),
    ('[blank]\nblankholder_force_kn = "lots"', "blank.blankholder_force_kn: 'lots' cannot be used: expected one of 'auto' or a number."),
    ("[blank]\nblankholder_force_kn = -1", "blank.blankholder_force_kn: -1 cannot be used"),
    ('[blank]\nholes = "maybe"', "expected one of 'fill', 'keep'"),
    ("[nest]\nstrip_width_max = 0", "expected more than 0 mm"),
    ("format = 99", "format: This job was written by a newer diewright (format 99; this one reads 1). Update diewright."),
    ("[sheet\nthickness = 1", "job.toml is not valid TOML"),
    ("x = " + "[" * 5000, "job.toml is not valid TOML"),
    ('[[accepted]]\nfinding = "a.b"\nreason = ""', "accepted.0.reason"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), BAD, ids=[b[0][:40].replace("\n", " ") for b in BAD])
def test_wrong_job_files_get_one_sentence(text: str, sentence: str) -> None:
    with pytest.raises(DeskError) as caught:
        job_file.job_of(text)
    said = str(caught.value)
    assert sentence in said
    assert "\n" not in said or "TOML" in said
    assert "Traceback" not in said
    assert "pydantic" not in said


def test_symbols_and_other_scripts_in_names_are_welcome() -> None:
    job = job_file.job_of('[job]\ntitle = "Zierblech № 7 – \\"links\\" <b>"\n[part]\nfile = "Teile/Blech ä+ø#1 (2).STEP"')
    assert job.part.file == "Teile/Blech ä+ø#1 (2).STEP"


def test_an_empty_file_is_a_job_of_defaults() -> None:
    assert job_file.job_of("") == Job()


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda f: (f / "job.toml").unlink(), "holds no job.toml"),
        (lambda f: (f / "job.toml").write_bytes(b"\xff\xfe\x00x"), "is not text in UTF-8"),
        (lambda f: (f / "job.toml").write_bytes(b"#" * 1_000_001), "is larger than a job file can be"),
    ],
)
def test_unreadable_job_files(folder: Path, make: object, sentence: str) -> None:
    make(folder)  # type: ignore[operator]
    with pytest.raises(FileError, match=sentence):
        job_file.load(folder)


def test_an_edit_keeps_comments_and_order(folder: Path) -> None:
    (folder / "job.toml").write_text("# my job\n[sheet]  # what we have\nthickness = 0.8  # measured\nmaterial = 'DC05'\n")
    job_file.edit(folder, {"sheet.thickness": 1.0, "blank.friction": 0.1})
    assert (
        (folder / "job.toml").read_text().startswith("# my job\n[sheet]  # what we have\nthickness = 1.0  # measured\nmaterial = 'DC05'\n")
    )
    assert job_file.load(folder).blank.friction == 0.1


def test_an_edit_that_does_not_validate_changes_nothing(folder: Path) -> None:
    before = (folder / "job.toml").read_bytes()
    with pytest.raises(InputError, match=r"0.05 or more mm"):
        job_file.edit(folder, {"sheet.thickness": 0})
    assert (folder / "job.toml").read_bytes() == before
    assert job_file.steps(folder) == (0, 0)


def test_undo_and_redo_walk_through_every_edit(folder: Path) -> None:
    for t in (0.9, 1.0, 1.1):
        job_file.edit(folder, {"sheet.thickness": t})
    assert job_file.steps(folder) == (3, 0)
    assert [job_file.undo(folder).sheet.thickness for _ in range(3)] == [1.0, 0.9, 0.8]
    with pytest.raises(InputError, match="no earlier state"):
        job_file.undo(folder)
    assert job_file.redo(folder).sheet.thickness == 0.9
    job_file.edit(folder, {"sheet.thickness": 2.0})
    with pytest.raises(InputError, match="no undone edit"):
        job_file.redo(folder)
    assert job_file.undo(folder).sheet.thickness == 0.9


def test_an_edit_by_hand_is_kept_in_the_history(folder: Path) -> None:
    job_file.edit(folder, {"sheet.thickness": 0.9})
    path = folder / "job.toml"
    path.write_text(path.read_text().replace("0.9", "1.7"))
    job_file.edit(folder, {"sheet.thickness": 2.0})
    assert job_file.undo(folder).sheet.thickness == 1.7
    assert job_file.undo(folder).sheet.thickness == 0.9


def test_a_field_of_a_record_that_states_nothing_is_left_out(folder: Path) -> None:
    job = job_file.edit(folder, {"faces.addendum": [{"x": 1.0, "y": 2.0, "trim_land": 4.0, "die_radius": None}]})
    assert (job.faces.addendum[0].trim_land, job.faces.addendum[0].die_radius) == (4.0, None)
    assert job_file.load(folder) == job


def test_a_field_taken_out_goes_back_to_its_default(folder: Path) -> None:
    job_file.edit(folder, {"sheet.thickness": 2.0})
    assert job_file.edit(folder, {"sheet.thickness": None}).sheet.thickness == 0.8


def test_every_stated_field_has_a_text_and_a_unit() -> None:
    for table in Job.model_fields.values():
        for name, info in getattr(table.annotation, "model_fields", {}).items():
            assert info.description, name
            assert isinstance(info.json_schema_extra, dict), name
            assert "unit" in info.json_schema_extra, name
