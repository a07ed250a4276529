"""The table of presses: what it holds, what it refuses."""

from __future__ import annotations

import numpy as np
import pytest

from diewright.errors import FileError, InputError
from diewright.press.table import generic_presses, named, own_presses, parse

GOOD = """
[[press]]
name = "Mine"
kind = "crank single"
force_kn = 800
rated_angle_deg = 30
stroke_mm = 150
strokes_per_minute = [30, 60]
energy_kj = 16
energy_continuous_kj = 8
bed_mm = [900, 600]
shut_height_mm = 350
"""


def test_generic_table():
    presses = generic_presses()
    assert len(presses) >= 16
    assert {p.kind for p in presses} == {"crank single", "crank double", "hydraulic"}
    assert all(p.source == "generic, common practice" for p in presses)
    for p in presses:
        h = np.linspace(0.0, p.stroke_mm, 200)
        f = p.capacity(h)
        assert np.isfinite(f).all()
        assert f.max() == pytest.approx(1000 * p.force_kn)
        assert (f > 0).all()
        assert p.capacity(np.array([p.stroke_mm * 1.01, -1.0])).tolist() == [0.0, 0.0]
        if p.kind != "hydraulic":
            # what the flywheel gives without pause is about nominal force times rated distance (common practice)
            assert 0.7 < p.energy_continuous_kj / (p.force_kn * p.rated_height / 1000.0) < 1.3
            assert p.speed(p.stroke_mm / 4, p.strokes_per_minute[0]) > 0.0


def test_own_table(tmp_path):
    path = tmp_path / "presses.toml"
    path.write_text(GOOD, encoding="utf-8")
    (press,) = own_presses(path)
    assert press.name == "Mine"
    assert press.source == "stated in the job folder"
    assert press.rated_height == pytest.approx(0.0669873 * 150, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[[press", "not valid TOML"),
        ("", "lists no press"),
        ("press = 3", "lists no press"),
        ("press = [1, 2]", "lists no press"),
        ("colour = 'red'\n" + GOOD, "no field called 'colour'"),
        (GOOD + GOOD, "'Mine' is listed twice"),
        (GOOD.replace("800", "-800"), "force_kn"),
        (GOOD.replace("800", "nan"), "force_kn"),
        (GOOD.replace("800", "'strong'"), "force_kn"),
        (GOOD.replace("stroke_mm = 150\n", ""), "stroke_mm"),
        (GOOD.replace("[30, 60]", "[60, 30]"), "lower rate first"),
        (GOOD.replace("rated_angle_deg = 30\n", ""), "rated_angle_deg or rated_distance_mm"),
        (GOOD + "rated_distance_mm = 10\n", "rated_angle_deg or rated_distance_mm"),
        (GOOD.replace("rated_angle_deg = 30", "rated_distance_mm = 100"), "lower half"),
        (GOOD + "rod_mm = 70\n", "more than half the stroke"),
        (GOOD.replace("energy_kj = 16\n", ""), "energy_kj"),
        (GOOD.replace("crank single", "steam"), "kind"),
        (GOOD.replace("crank single", "hydraulic"), "speed_mm_s"),
        (GOOD + "wheels = 4\n", "wheels"),
        (GOOD.replace("[900, 600]", "[900]"), "bed_mm"),
        ("a=" + "[" * 5000, "not valid TOML"),
    ],
)
def test_a_bad_table_gets_one_sentence(tmp_path, text, words):
    path = tmp_path / "presses.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError) as caught:
        own_presses(path)
    assert words in caught.value.sentence
    assert "\n" not in caught.value.sentence
    assert "Traceback" not in caught.value.sentence


def test_unreadable_files(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        own_presses(tmp_path / "nothing.toml")
    big = tmp_path / "big.toml"
    big.write_bytes(b"#" * 300_000)
    with pytest.raises(FileError, match="larger than 256 kB"):
        own_presses(big)
    odd = tmp_path / "odd.toml"
    odd.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(FileError, match="UTF-8"):
        own_presses(odd)
    with pytest.raises(FileError, match="at most"):
        parse("\n".join(GOOD.replace("Mine", f"P{i}") for i in range(501)), "presses.toml")


def test_unknown_name_lists_the_known():
    with pytest.raises(InputError, match="Hydraulic 630 kN") as caught:
        named(generic_presses(), "Steam hammer")
    assert caught.value.where == "press.name"
