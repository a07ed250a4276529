"""The stage: the contract's values and tables, findings, own sheets and tests of the job."""

import json

import numpy as np
import pytest
from synthetic_tests import as_csv, pull

from diewright.errors import Cancelled, FileError, InputError
from diewright.job.schema import parse
from diewright.job.stage import InputFile, source_digest
from diewright.sheet import load, names
from diewright.sheet.hardening import hardening_law
from diewright.sheet.library import FOLDER
from diewright.sheet.stage import STAGE
from diewright.watch import Watch

SWIFT = hardening_law("swift", {"K": 525.0, "e0": 0.004, "n": 0.227})
VOCE = hardening_law("voce", {"ss": 324.94, "s0": 137.92, "c": 11.03})
VALUES = {"sheet", "hardening", "yield_surface", "anisotropy", "limit", "fit", "E", "nu", "density", "Rp02", "Rm", "n", "A80", "family"}


def work(folder=None, watch=None, **sheet):
    job = parse({"sheet": sheet})
    files = {where: InputFile.of(folder, name, where) for where, name in STAGE.files(job).items()}
    return STAGE.work(STAGE.inputs(job), {}, files, watch or Watch())


def keys(result):
    return {f.key: f for f in result.findings}


@pytest.fixture
def folder(tmp_path):
    for angle, r in ((0, 1.8), (45, 1.4), (90, 2.1)):
        (tmp_path / f"t{angle}.csv").write_text(as_csv(pull(SWIFT, r, 20 + angle, angle=float(angle))))
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "coil 7.toml").write_text((FOLDER / "EN-AW-6181-T4.toml").read_text().replace('"EN AW-6181-T4"', '"coil 7"'))
    return tmp_path


@pytest.mark.parametrize("name", names())
def test_every_sheet_gives_the_contract(name):
    result = work(material=name)
    assert set(result.values) >= VALUES
    json.dumps(result.values, allow_nan=False)
    assert set(result.values["anisotropy"]) == {"F", "G", "H", "N", "r0", "r45", "r90", "rbar", "delta_r"}
    assert result.values["anisotropy"]["G"] + result.values["anisotropy"]["H"] == pytest.approx(1.0)
    assert set(result.values["sheet"]["sources"]) >= {"E", "Rp02", "r0", "hardening", "limit"}
    hardening, limit = result.tables["hardening"], result.tables["limit"]
    assert (hardening["strain"][0], hardening["strain"][-1]) == (0.0, 2.0)
    assert (limit["minor"][0], limit["minor"][-1]) == (-0.6, 0.6)
    assert np.interp(0.0, limit["minor"], limit["major"]) == pytest.approx(result.values["limit"]["flc0"])
    assert set(result.tables["yield_locus"]) == {"s11", "s22"}
    np.testing.assert_allclose(
        np.interp([0, 45, 90], result.tables["directional"]["angle"], result.tables["directional"]["r"]),
        [result.values["anisotropy"][k] for k in ("r0", "r45", "r90")],
        rtol=1e-9,
    )
    assert "sheet.memory" in keys(result)
    assert all(f.key.startswith("sheet.") for f in (*result.findings, *result.figures))
    assert len({f.key for f in result.findings}) == len(result.findings)
    assert not [f for f in result.findings if f.severity == "stop"]


def test_the_default_job():
    result = work()
    assert result.values["family"] == "steel"
    assert result.values["hardening"]["law"] == "swift"
    assert result.values["limit"]["kind"] == "keeler-brazier"
    assert result.values["limit"]["flc0"] == pytest.approx(np.log1p((23.3 + 14.13 * 0.8) / 100))  # n is capped at 0.21
    assert keys(result)["sheet.keeler-n"].severity == "note"
    assert result.figure("sheet.rbar").value == pytest.approx((1.75 + 2 * 1.4 + 2.05) / 4)
    assert result.values["fit"] is None


def test_every_limit_and_law_can_be_asked_for():
    for law in ("swift", "hollomon", "ludwik", "voce", "hockett-sherby", "swift-voce"):
        result = work(hardening=law)
        assert result.values["hardening"]["law"] == law
        assert ("sheet.hardening-converted" in keys(result)) == (law != "swift")
        assert np.interp(0.1, result.tables["hardening"]["strain"], result.tables["hardening"]["stress"]) == pytest.approx(
            524.8 * 0.10409**0.2268, rel=0.04
        )
    for limit in ("keeler-brazier", "swift-hill", "marciniak-kuczynski"):
        result = work(forming_limit=limit)
        assert result.values["limit"]["kind"] == limit
        assert 0.1 < result.values["limit"]["flc0"] < 0.4
    assert "sheet.groove" in keys(result)
    assert work(yield_surface="mises", forming_limit="marciniak-kuczynski").values["yield_surface"]["kind"] == "mises"


def test_yld2000_where_there_is_data_and_where_there_is_none():
    result = work(material="EN AW-6016-T4", yield_surface="yld2000", thickness=1.0)
    assert result.values["yield_surface"]["parameters"]["alpha"][0] == 0.9238
    fitted = work(material="EN AW-6181-T4", yield_surface="yld2000", thickness=1.0)
    np.testing.assert_allclose(fitted.values["yield_surface"]["biaxial"], [134 / 142, 0.82], atol=1e-4)
    with pytest.raises(InputError, match=r"'DC04' has no data for yld2000. Sheets of the library with it: EN AW-6016-T4"):
        work(yield_surface="yld2000")


@pytest.mark.parametrize(
    ("sheet", "key", "severity"),
    [
        ({"thickness": 5.0}, "sheet.thickness", "attend"),
        ({"thickness": 5.0}, "sheet.limit-thickness", "attend"),
        ({"material": "EN AW-5754-O", "thickness": 2.0}, "sheet.limit-thickness", "attend"),
        ({"material": "EN AW-5754-O"}, "sheet.limit-typical", "note"),
        ({"material": "EN AW-5754-O", "forming_limit": "measured"}, "sheet.limit-typical", "attend"),
        ({"material": "EN AW-5754-O", "forming_limit": "keeler-brazier"}, "sheet.keeler-family", "attend"),
        ({"yield_surface": "mises"}, "sheet.mises", "attend"),
        ({"forming_limit": "swift-hill"}, "sheet.limit-extrapolated", "note"),
    ],
)
def test_findings(sheet, key, severity):
    finding = keys(work(**sheet))[key]
    assert finding.severity == severity
    assert finding.value is not None
    assert finding.sentence.endswith(".")
    assert finding.source


def test_a_good_thickness_is_not_found_fault_with():
    assert not {"sheet.thickness", "sheet.limit-thickness"} & set(keys(work(material="EN AW-5754-O", thickness=1.2)))


@pytest.mark.parametrize(
    ("sheet", "says"),
    [
        ({"material": "unobtainium"}, "there is no sheet called 'unobtainium'"),
        ({"material": "sheets/../../x"}, "a plain name"),
        ({"hardening": "table"}, "has no hardening table"),
        ({"forming_limit": "measured"}, "has no points of a forming limit"),
    ],
)
def test_refusals(sheet, says):
    with pytest.raises(InputError, match=says) as caught:
        work(**sheet)
    assert caught.value.where.startswith("sheet.")


def test_an_own_sheet(folder):
    job = parse({"sheet": {"material": "sheets/coil 7"}})
    assert STAGE.files(job) == {"sheet.material": "sheets/coil 7.toml"}
    result = work(folder, material="sheets/coil 7")
    assert result.values["sheet"]["name"] == "coil 7"
    with pytest.raises(FileError, match="'sheets/coil 8.toml' is not in the job folder"):
        work(folder, material="sheets/coil 8")
    (folder / "sheets" / "bad.toml").write_text((folder / "sheets" / "coil 7.toml").read_text().replace("value = 0.672", "value = -0.672"))
    with pytest.raises(InputError, match=r"sheets/bad.toml.*r0 is -0.672"):
        work(folder, material="sheets/bad")


def test_three_tests_replace_the_librarys_values(folder):
    result = work(folder, tensile_files=["t0.csv", "t45.csv", "t90.csv"])
    values = result.values
    assert values["anisotropy"]["r0"] == pytest.approx(1.8, abs=0.02)
    assert values["anisotropy"]["r45"] == pytest.approx(1.4, abs=0.02)
    assert values["anisotropy"]["r90"] == pytest.approx(2.1, abs=0.02)
    assert "tensile test t90.csv" in values["sheet"]["sources"]["r90"]
    assert values["sheet"]["sources"]["E"] == load("DC04").values.E.source
    assert {t["angle"] for t in values["fit"]["tests"]} == {0.0, 45.0, 90.0}
    assert values["fit"]["laws"][0]["rms"] <= values["fit"]["laws"][-1]["rms"]
    assert values["hardening"]["law"] == values["fit"]["laws"][0]["law"]
    assert set(result.tables) >= {"tensile_0", "tensile_45", "tensile_90", "flow_0"}
    assert np.interp(0.1, result.tables["hardening"]["strain"], result.tables["hardening"]["stress"]) == pytest.approx(
        float(SWIFT.stress(0.1)), rel=2e-3
    )
    assert "sheet.test-extrapolated" in keys(result)
    assert "sheet.test-directions" not in keys(result)
    json.dumps(values, allow_nan=False)
    assert work(folder, tensile_files=["t0.csv"], hardening="table").values["hardening"]["law"] == "table"


def test_one_test_says_what_is_missing_and_what_disagrees(folder):
    found = keys(work(folder, tensile_files=["t45.csv"]))
    assert "r0, r90" in found["sheet.test-directions"].sentence
    found = keys(work(folder, material="HCT780X", tensile_files=["t0.csv"]))
    assert found["sheet.test-rm-0"].severity == "attend"
    assert found["sheet.test-rp02-0"].value == pytest.approx(164, rel=0.02)


def test_yld2000_from_the_tests_and_the_biaxial_point(folder):
    for angle, r in ((0, 0.67), (45, 0.61), (90, 0.82)):
        (folder / f"t{angle}.csv").write_text(as_csv(pull(VOCE, r, 20 + angle, angle=float(angle), modulus=70_000.0)))
    result = work(folder, material="sheets/coil 7", yield_surface="yld2000", tensile_files=["t0.csv", "t45.csv", "t90.csv"])
    np.testing.assert_allclose(
        np.interp([0, 45, 90], result.tables["directional"]["angle"], result.tables["directional"]["r"]), [0.67, 0.61, 0.82], atol=0.01
    )
    assert "fitted to the tensile tests" in result.values["yield_surface"]["source"]


def test_two_files_for_one_direction(folder):
    (folder / "again.csv").write_text((folder / "t0.csv").read_text())
    with pytest.raises(InputError, match="are both for 0 deg"):
        work(folder, tensile_files=["t0.csv", "again.csv"])


def test_cancel_is_heard():
    with pytest.raises(Cancelled):
        work(watch=Watch(cancelled=lambda: True))


def test_the_stage_names_its_sources_and_repeats_itself():
    assert STAGE.needs == ()
    assert len(source_digest(STAGE.packages)) == 64
    a, b = work(forming_limit="swift-hill", hardening="voce"), work(forming_limit="swift-hill", hardening="voce")
    assert a.values == b.values
    for name, table in a.tables.items():
        for column, array in table.items():
            np.testing.assert_array_equal(array, b.tables[name][column])
