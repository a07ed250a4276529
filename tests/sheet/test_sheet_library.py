"""The library: every entry complete, consistent with itself, and every bad file one sentence."""

import copy
import math
import tomllib

import numpy as np
import pytest

from diewright.errors import FileError, InputError
from diewright.sheet.hardening import maximum_load_stress, mean_exponent, uniform_strain
from diewright.sheet.library import FOLDER, load, names, own_sheet_file
from diewright.sheet.record import FROM_MEMORY, RANGES, parse_sheet, read_sheet

# What an entry may differ by from its own hardening law.
PROOF_BAND = 0.05
STRENGTH_BAND = 0.03
EXPONENT_BAND = 0.02

every = pytest.mark.parametrize("name", names())


def test_the_library_is_wide_enough():
    assert len(names()) >= 24
    assert {load(n).family for n in names()} == {"steel", "stainless", "aluminium", "brass", "copper"}
    assert {"DC01", "DC03", "DC04", "DC05", "DC06", "DC07", "HC340LA", "HCT600X", "1.4301", "EN AW-5754-O", "CuZn37", "Cu-DHP"} <= set(
        names()
    )


@every
def test_every_value_has_a_source(name):
    sheet = load(name)
    for key, (unit, low, high) in RANGES.items():
        value = getattr(sheet.values, key)
        assert value.unit == unit
        assert low <= value.value <= high
        assert len(value.source) > 10
        assert value.source == FROM_MEMORY or "memory" not in value.source or "quoted from memory" in value.source
    assert all(h.source for h in sheet.hardening)
    assert sheet.limit.source


@every
def test_hardening_agrees_with_the_figures(name):
    sheet = load(name)
    for k, record in enumerate(sheet.hardening):
        law = record.build()
        eu = math.expm1(uniform_strain(law))
        band = 1.0 if k == 0 else 2.5  # a second published law is another team's fit of another range
        assert float(law.stress(0.002)) == pytest.approx(sheet.number_of("Rp02"), rel=band * PROOF_BAND)
        assert maximum_load_stress(law) == pytest.approx(sheet.number_of("Rm"), rel=band * STRENGTH_BAND)
        assert 100 * eu <= sheet.number_of("A80") + (10 if k else 1)
        if k == 0:
            low = 0.10 if eu > 0.115 else 0.05
            assert mean_exponent(law, low, min(0.2, eu)) == pytest.approx(sheet.number_of("n"), abs=EXPONENT_BAND)
            assert uniform_strain(law) == pytest.approx(sheet.number_of("n"), abs=0.11)  # Considere: n for a power law


@every
def test_surfaces_of_the_entry(name):
    sheet = load(name)
    r = [sheet.number_of(k) for k in ("r0", "r45", "r90")]
    _, found = sheet.surface("hill48").directional([0.0, 45.0, 90.0])
    np.testing.assert_allclose(found, r, rtol=1e-9)
    if sheet.has_yld2000:
        surface = sheet.surface("yld2000")
        _, found = surface.directional([0.0, 45.0, 90.0])
        np.testing.assert_allclose(found, r, atol=0.006)
        s = np.random.default_rng(1).normal(size=(500, 3))
        assert (np.linalg.eigvalsh(surface.hessian(s)) * surface.equivalent(s)[:, None]).min() > -1e-11


def test_the_file_name_is_the_sheet_name():
    for path in FOLDER.glob("*.toml"):
        assert path.stem == load(read_sheet(path, path.name).name).name.replace(" ", "-")


def test_names_are_forgiving_and_unknown_ones_are_helped():
    assert load("dc 04").name == "DC04"
    assert load("en aw 5754 o").name == "EN AW-5754-O"
    with pytest.raises(InputError, match=r"there is no sheet called 'DC44'\. Near: DC04") as caught:
        load("DC44")
    assert caught.value.where == "sheet.material"
    with pytest.raises(InputError, match="Known: "):
        load("☃" * 30)


def test_own_sheet_names():
    assert own_sheet_file("DC04") is None
    assert own_sheet_file("sheets/coil 7") == own_sheet_file("sheets/coil 7.toml") == "sheets/coil 7.toml"
    for bad in ("sheets/", "sheets/../x", "sheets/a/b", "sheets/.x", "sheets/a\\b", "sheets/a\x00b", "sheets/C:x"):
        with pytest.raises(InputError, match="a plain name"):
            own_sheet_file(bad)


@pytest.fixture
def good() -> dict:
    return tomllib.loads((FOLDER / "EN-AW-6181-T4.toml").read_text())


def change(data: dict, path: str, value) -> dict:
    data = copy.deepcopy(data)
    *head, last = path.split(".")
    at = data
    for key in head:
        at = at[int(key)] if isinstance(at, list) else at[key]
    if value is KeyError:
        del at[last]
    else:
        at[last] = value
    return data


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ("values.r0.value", -0.7, "r0 is -0.7: expected 0.05 to 10"),
        ("values.r45.value", math.nan, "cannot be used"),
        ("values.E.value", math.inf, "cannot be used"),
        ("values.E.value", 70.0, "E is 70: expected 10000 to 500000 MPa"),
        ("values.E.unit", "GPa", "E has the unit 'GPa': expected 'MPa'"),
        ("values.Rm.value", 100.0, "Rm 100 MPa is not above Rp02 142 MPa"),
        ("values.n.source", KeyError, "the field is missing"),
        ("values.A80", KeyError, "the field is missing"),
        ("values.r135", {"value": 1.0, "source": "test"}, "there is no such field"),
        ("values.nu.value", "much", "cannot be used"),
        ("thickness.min", 0.0, "cannot be used"),
        ("thickness.max", 0.1, "the largest thickness 0.1 mm is below the smallest"),
        ("family", "wood", "cannot be used"),
        ("name", "", "cannot be used"),
        ("hardening", [], "cannot be used"),
        ("hardening.0.law", "power", "'power' is not a hardening law"),
        ("hardening.0.parameters.c", -1.0, "hardening voce c"),
        ("measures.sb", 0.0, "cannot be used"),
        ("yld2000", {"alpha": [1.0] * 7, "exponent": 8.0, "source": "test"}, "7 coefficients"),
        ("limit.points", [[0.0, 0.2]], "3 or more"),
        ("limit.points", [[-0.1, 0.2], [0.0, -0.2], [0.1, 0.2]], "above zero"),
        ("limit.points", [[-0.1, 0.2], [0.1, 0.2], [0.1, 0.3]], "same minor strain"),
        ("limit.thickness", KeyError, "needs the thickness"),
        ("format", 99, "newer diewright"),
    ],
)
def test_bad_entries_are_one_sentence(good, path, value, says):
    with pytest.raises(InputError) as caught:
        parse_sheet(change(good, path, value), "sheets/own.toml")
    sentence = caught.value.sentence
    assert says in sentence
    assert sentence.startswith("sheets/own.toml")
    assert "\n" not in sentence


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "the field is missing"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"name = ", "not valid TOML"),
        (b"a = " + b"[" * 5000, "not valid TOML"),
        (b"#" * 1_000_001, "larger than 1 MB"),
    ],
)
def test_bad_files(tmp_path, content, says):
    path = tmp_path / "own.toml"
    path.write_bytes(content)
    with pytest.raises((FileError, InputError), match=says):
        read_sheet(path, "sheets/own.toml")


def test_a_missing_file(tmp_path):
    with pytest.raises(FileError, match="is not there"):
        read_sheet(tmp_path / "none.toml", "sheets/none.toml")
