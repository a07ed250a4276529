"""The whole print: sheets, words, numbers, states, hostile text, reproducibility, cancel."""

import glob
import io
import json
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from printed import STAMP, read, text_of
from synthetic import DEPTH, desk_in

from diewright.book.paper import make, printing
from diewright.book.paper.blocks import FORM
from diewright.book.paper.studio import Studio
from diewright.errors import Cancelled, InputError, SolveError
from diewright.watch import Watch


@pytest.fixture
def undrawn(monkeypatch):
    """Spare the seconds of 3-D drawing where the pictures do not matter."""
    monkeypatch.setattr(printing, "Studio", lambda folder: Studio(folder, program=("true",)))


def test_it_is_a_pdf_of_numbered_sheets_with_title_blocks(pdf, words):
    reader = read(pdf)
    count = len(reader.pages)
    assert 8 <= count <= 14
    for n, page in enumerate(reader.pages, 1):
        text = page.extract_text()
        assert f"sheet {n} of {count}" in text
        assert "Pan of a test" in text
        assert "T-17" in text
        assert "A. Draughter" in text
        assert "2026-09-21" in text
    assert reader.metadata.title == "Pan of a test"
    for page in ("Part", "Sheet", "Blank", "Developed blank", "Nest", "Press", "Readiness"):
        assert page in words


def test_the_paper_is_a4_or_letter(pdf, desk):
    def sizes(data):
        return {(round(float(p.mediabox.width)), round(float(p.mediabox.height))) for p in read(data).pages}

    assert sizes(pdf) == {(595, 842)}
    assert sizes(make(desk, timestamp=STAMP, size="Letter")) == {(612, 792)}
    with pytest.raises(InputError, match="A3"):
        make(desk, size="A3")  # type: ignore[arg-type]


def test_nothing_is_said_to_be_missing_when_all_is_there(words):
    for excuse in ("could not be made", "could not be drawn", "could not be laid out", "not worked", "out of date"):
        assert excuse not in words


def test_findings_carry_mark_value_limit_source_and_acceptance(words):
    assert "STOP" in words
    assert "The margin to necking is below zero at the rear left corner." in words
    assert "−3.1 %" in words
    assert "stated: margin wanted" in words
    assert "Accepted by C. Checker: Agreed with the buyer, the wall is hidden." in words
    assert "One finding says stop: do not cut steel." in words
    assert "attend" in words
    assert "note" in words


def test_numbers_have_units_and_proper_digits(words):
    assert f"{DEPTH:g} mm" in words
    assert "71 230 mm²" in words
    assert "210 000 MPa" in words
    assert "12.4°" in words
    assert "7850 kg/m³" in words
    assert "186 kN" in words  # a force of 186 000 N
    assert "0.8 mm" in words
    assert "mm2" not in words


def test_every_figure_shows_formula_inputs_and_source(desk, words):
    for result in (desk.result(name) for name in desk.states()):
        for figure in result.figures:
            assert figure.label in words
            assert figure.source in words
            assert figure.confidence in words
    assert "h = max(z) - min(z)" in words
    assert "Rm = 305 MPa" in words


def test_decisions_and_cautions_are_printed(words):
    assert "largest distance between mesh and true surface" in words
    assert "Friction 0.12" in words
    assert "Trim allowance 0 mm" in words
    assert "block the slide with safety blocks" in words


def test_text_of_pictures_is_text(words):
    assert "press direction" in words
    assert "Margin to necking, percent points" in words
    assert "least margin" in words
    assert "plastic strain" in words


def test_the_same_print_twice_is_the_same_bytes(desk, pdf):
    assert make(desk, timestamp=STAMP) == pdf


def test_fonts_are_the_shipped_ones_and_embedded(pdf):
    names = set()
    for page in read(pdf).pages:
        for font in page["/Resources"]["/Font"].values():
            font = font.get_object()
            names.add(str(font["/BaseFont"]))
            below = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            descriptor = below["/FontDescriptor"].get_object()
            assert any(k in descriptor for k in ("/FontFile2", "/FontFile3"))
    assert any("SourceSerif4" in n for n in names)
    assert all("SourceSerif4" in n or "SourceCodePro" in n for n in names)


@pytest.mark.parametrize(
    "title",
    [
        '#panic("out") #read("/etc/passwd") $x$ *b* _i_ <a> @b `c` \\ [x] {y} //z /*q',
        "'\"--''«»<script>&amp;]]>",
        "Часть 部品 جزء 🏭 ½ ∮ \u202egnol\u202c a\u0301",
        "W" * 120,
        "a b " * 30,
    ],
)
def test_hostile_titles_are_set_as_they_are(folder, title):
    desk = desk_in(
        folder,
        worked=False,
        job={"title": title, "drawn_by": title[:60], "checked_by": "#" * 60, "number": title[:60], "revision": "#{A}]$"},
    )
    said = text_of(make(desk, timestamp=STAMP)).replace(" ", "")
    ascii_part = "".join(c for c in title if c.isascii() and not c.isspace())[:20]
    if ascii_part and title.isascii():
        assert ascii_part in said
    assert "#{A}]$" in said
    assert "sheet1of" in said


@pytest.mark.usefixtures("undrawn")
def test_hostile_words_in_results_are_set_as_they_are(folder):
    desk = desk_in(folder)
    desk.accept("blank.thinning", '#panic() ]]> "quotes" \u0007 </text> & $', "<b>")
    said = text_of(make(desk, timestamp=STAMP))
    assert 'Accepted by <b>: #panic() ]]> "quotes" </text> & $' in said


def test_a_fresh_job_prints_and_says_what_is_not_there(folder):
    said = text_of(make(desk_in(folder, worked=False), timestamp=STAMP))
    for title in ("Part", "Tipping", "Sheet", "Blank", "Nest", "Press"):
        assert f"{title} was not worked: it has not been worked yet." in said
    assert "There is no shape to show yet." in said
    assert "are not current, so this is not the whole picture." in said
    assert "Cautions" in said  # they hold whether the press was worked or not


@pytest.mark.usefixtures("undrawn")
def test_out_of_date_and_refused_stages_say_why(folder):
    desk = desk_in(folder)
    desk.edit({"sheet.thickness": 1.0})
    said = text_of(make(desk, timestamp=STAMP))
    assert "Blank is out of date: thickness changed from 0.8 to 1" in said
    assert "Developed blank, out of date" in said  # in the title block of a loose sheet
    assert "From a result that is not current." in said
    desk.edit({"blank.friction": 0.55})
    with pytest.raises(SolveError):
        desk.work("blank")
    said = text_of(make(desk, timestamp=STAMP))
    assert "Blank was refused: blank: the solution did not settle after 60 iterations. Lower the friction." in said


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("stage", ["part", "tipping", "sheet", "blank", "nest", "press"])
def test_a_result_of_another_form_does_not_break_the_print(folder, stage):
    """Empty results, then values of the wrong kind: the other sheets still come."""
    desk = desk_in(folder)
    entry = desk.states()[stage].entry
    result = desk.result(stage)
    broken = type(result)(values={k: "seven" for k in result.values})
    desk.store.put(stage, entry.key, entry.provenance, type(result)())
    assert "Readiness" in text_of(make(desk, timestamp=STAMP))
    desk.store.put(stage, entry.key, entry.provenance, broken)
    said = text_of(make(desk, timestamp=STAMP))
    assert "Readiness" in said
    assert "STOP" in said or stage == "blank"


def test_a_defect_outside_the_form_of_results_is_not_swallowed():
    assert not issubclass(MemoryError, FORM)
    assert not issubclass(RuntimeError, FORM)


def _print_with(monkeypatch, desk, *program, seconds=60.0, watch=None):
    monkeypatch.setattr(printing, "Studio", lambda folder: Studio(folder, seconds=seconds, program=program))
    return make(desk, timestamp=STAMP, watch=watch)


def test_without_opengl_the_sheets_come_and_say_why(monkeypatch, desk):
    said = text_of(_print_with(monkeypatch, desk, "sh", "-c", "kill -SEGV $$"))
    assert said.count("could not be drawn: this machine has no working off-screen OpenGL") == 5
    assert "libegl1" in said
    assert "Depth below the highest point" in said
    assert "flow stress" in said  # the plots need no OpenGL


def test_a_drawing_process_that_hangs_is_stopped(monkeypatch, desk):
    said = text_of(_print_with(monkeypatch, desk, "sh", "-c", "sleep 60", seconds=0.4))
    assert "drawing took more than 0.4 s and was stopped." in said


def test_a_drawing_process_that_cannot_start_or_fails_is_told(monkeypatch, desk):
    assert "could not be started" in text_of(_print_with(monkeypatch, desk, "no-such-program-here"))
    assert "gave up (no memory left)" in text_of(_print_with(monkeypatch, desk, "sh", "-c", "echo no memory left; exit 3"))


def test_what_was_drawn_before_the_death_is_kept(monkeypatch, desk, tmp_path):
    png = Path(tmp_path / "one.png")
    subprocess.run(
        ["python3", "-c", "import zlib,struct,sys;c=lambda t,d:struct.pack('>I',len(d))+t+d+struct.pack('>I',zlib.crc32(t+d));"
         "sys.stdout.buffer.write(b'\\x89PNG\\r\\n\\x1a\\n'+c(b'IHDR',struct.pack('>IIBBBBB',1,1,8,2,0,0,0))+c(b'IDAT',zlib.compress(b'\\0abc'))+c(b'IEND',b''))"],
        stdout=png.open("wb"), check=True,
    )  # fmt: skip
    said = text_of(_print_with(monkeypatch, desk, "sh", "-c", f'cp {png} "$0/depth.png"; kill -ABRT $$'))
    assert said.count("could not be drawn") == 4


def test_cancel_leaves_nothing_behind(desk):
    before = set(glob.glob(f"{tempfile.gettempdir()}/diewright-print-*"))
    heard = []
    with pytest.raises(Cancelled):
        make(desk, timestamp=STAMP, watch=Watch(lambda p: heard.append(p.phase), lambda: "drawing pictures" in heard))
    assert "drawing pictures" in heard
    assert set(glob.glob(f"{tempfile.gettempdir()}/diewright-print-*")) == before


def test_cancel_ends_the_drawing_process(monkeypatch, desk):
    studios = []
    monkeypatch.setattr(
        printing, "Studio", lambda folder: studios.append(Studio(folder, program=("sh", "-c", "exec sleep 60"))) or studios[-1]
    )
    heard = []
    with pytest.raises(Cancelled):
        make(desk, timestamp=STAMP, watch=Watch(lambda p: heard.append(p.phase), lambda: "drawing pictures" in heard))
    assert studios[0]._child.poll() is not None


def test_progress_is_told_in_order(desk):
    heard = []
    make(desk, timestamp=STAMP, watch=Watch(lambda p: heard.append(p.phase)))
    assert list(dict.fromkeys(heard)) == ["reading results", "laying out", "drawing pictures", "setting"]


def test_pictures_are_drawn_with_the_part_in_their_middle(desk, tmp_path):
    bench = printing.prepare(desk, tmp_path, "A4", STAMP, Watch())
    assert len(bench.pictures) == 5
    for picture in bench.pictures:
        view = picture.view()
        image = np.asarray(Image.open(tmp_path / f"{picture.name}.png").convert("RGB")).astype(int)
        assert abs(image.shape[1] / image.shape[0] - view.width / view.height) < 0.02
        inked = np.argwhere((image < 250).any(axis=2))
        low, high = inked.min(axis=0) / image.shape[:2], inked.max(axis=0) / image.shape[:2]
        places = view.place(picture.fields.mesh.points) / [view.width, view.height]  # where the overlay believes the part to be
        assert np.allclose([low[1], low[0]], places.min(axis=0), atol=0.008)
        assert np.allclose([high[1], high[0]], places.max(axis=0), atol=0.008)


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_check_bar_is_100_mm_on_the_printed_sheet(desk, tmp_path, size):
    """Measured in the picture that the typesetter makes of the sheet, ten dots a millimetre."""
    printing.prepare(desk, tmp_path, size, STAMP, Watch())
    data = json.loads((tmp_path / "data.json").read_text())
    data["sheets"] = [s for s in data["sheets"] if s["scale"]]
    (tmp_path / "data.json").write_text(json.dumps(data))
    pages = printing.typeset(tmp_path, STAMP, form="png", dots_per_inch=254.0)
    assert len(pages) == 2  # the developed blank and the nest
    for page in pages:
        dark = np.asarray(Image.open(io.BytesIO(page)).convert("L")) < 100
        assert dark.shape == ((2970, 2100) if size == "A4" else (2794, 2159))
        tenths = np.stack([dark[:, 212 + 100 * i : 292 + 100 * i].mean(axis=1) for i in range(10)], axis=1)
        bar = (tenths[:, ::2] > 0.99).all(axis=1) & (tenths[:, 1::2] < 0.01).all(axis=1) & ~dark[:, :150].any(axis=1)
        assert bar.any()
        edges = np.flatnonzero(dark[np.flatnonzero(bar)[0], 150:1300])
        assert abs(edges[-1] - edges[0] - 1000) <= 4  # the end strokes are 0.18 mm wide


@pytest.mark.usefixtures("undrawn")
def test_the_blank_is_true_to_scale_on_the_printed_sheet(desk, tmp_path):
    printing.prepare(desk, tmp_path, "A4", STAMP, Watch())
    data = json.loads((tmp_path / "data.json").read_text())
    data["sheets"] = [s for s in data["sheets"] if s["title"] == "Developed blank"]
    assert data["sheets"][0]["scale"] == "1:2"
    (tmp_path / "data.json").write_text(json.dumps(data))
    (page,) = printing.typeset(tmp_path, STAMP, form="png", dots_per_inch=254.0)
    dark = np.asarray(Image.open(io.BytesIO(page)).convert("L")) < 100
    # rows where only the two straight long sides are dark, 0.5 mm wide each: a blank 220 mm across, at 1:2, measures 110 mm from middle to middle
    runs = dark[1000, 300:]
    edges = np.flatnonzero(np.diff(runs.astype(int)))
    strokes = [(a + b) / 2 for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= 4]
    assert abs(strokes[-1] - strokes[0] - 1100) <= 2
