"""The command line: the same sentences as the book, and ``--json`` for scripts."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diewright import console
from diewright.errors import Cancelled, DeskError, FileError, InputError, SolveError, StoreError

if TYPE_CHECKING:
    from diewright.desk import Desk

EXIT_CODES = {InputError: 2, FileError: 3, SolveError: 4, StoreError: 5, Cancelled: 130}
EPILOG = (
    "Exit codes: 0 done; 1 done, but a finding says stop; 2 something is stated wrongly; 3 a file cannot be read; "
    "4 a computation did not reach a result; 5 the disk refuses or the job is busy; 70 a defect of ours; 130 stopped."
)
EXAMPLES = Path(__file__).parent / "examples"

app = typer.Typer(
    help="The press toolmaker's desk: from a shape, a sheet and a quantity to a developed blank, first margins and press figures.",
    epilog=EPILOG, no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)  # fmt: skip

Folder = Annotated[Path, typer.Argument(help="The job's folder, which holds job.toml.", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")]


def _desk(folder: Path) -> Desk:
    from diewright.desk import Desk

    return Desk(folder)


@contextmanager
def _stop_on_interrupt() -> Iterator[None]:
    try:
        yield
    except KeyboardInterrupt:
        raise Cancelled() from None


@app.command()
def new(
    folder: Folder,
    cad: Annotated[Path | None, typer.Option(help="CAD file of the part; it is copied into the folder.")] = None,
    title: Annotated[str, typer.Option(help="What the part is called.")] = "",
    material: Annotated[str, typer.Option(help="Sheet of the library; see: diewright sheets")] = "DC04",
    thickness: Annotated[float, typer.Option(help="Sheet thickness in mm.")] = 0.8,
    quantity: Annotated[int, typer.Option(help="Parts a year.")] = 1000,
    unit: Annotated[str, typer.Option(help="Unit of a file that states none (STL): mm, cm, m or inch.")] = "",
) -> None:
    """Make a new job folder.

    Example: diewright new bracket --cad bracket.step --material DC05 --thickness 1.0 --quantity 20000
    """
    from diewright.job import file as job_file
    from diewright.job.disk import write_whole

    if (folder / job_file.NAME).exists():
        raise InputError(f"'{folder}' already holds a job.", help="Choose another folder, or change fields with: diewright set")
    if cad is not None and not cad.is_file():
        raise FileError(f"there is no file '{cad}'.", where="--cad")
    part = {"file": cad.name if cad else "", **({"unit": unit} if unit else {})}
    text = job_file.text_of(
        {
            "job": {"title": title or folder.resolve().name, "quantity": quantity},
            "part": part,
            "sheet": {"material": material, "thickness": thickness},
        }
    )
    job_file.job_of(text)
    write_whole(folder / job_file.NAME, text.encode())
    if cad is not None:
        shutil.copyfile(cad, folder / cad.name)
    console.say(f"Made {folder / job_file.NAME}. Next: diewright book {folder}")


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="Where the demo job goes; an existing one is opened as it is.")] = Path("demo-job"),
    example: Annotated[str, typer.Option(help="Which example: fascia, cup or panel.")] = "fascia",
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
    port: Annotated[int, typer.Option(help="Port; 0 takes a free one.", min=0, max=65535)] = 0,
) -> None:
    """Copy the demo job, work it and open its book in the browser, where the tryout, the hoist line and plating are then worked."""
    known = sorted(p.parent.name for p in EXAMPLES.glob("*/job.toml"))
    if example not in known:
        raise InputError(f"there is no example called '{example}'.", where="--example", help=f"Examples: {', '.join(known)}.")
    if not (folder / "job.toml").exists():
        try:
            shutil.copytree(EXAMPLES / example, folder, dirs_exist_ok=True)
        except OSError as error:
            raise StoreError(f"'{folder}' cannot be written ({error.strerror}).", help="Choose another folder.") from None
    desk = _desk(folder)
    with _stop_on_interrupt():
        console.work(desk, ())
    console.findings(desk.findings())
    _open(folder, browser, port, begin=("tryout", "line", "plating"))


@app.command()
def book(
    folder: Folder,
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
    port: Annotated[int, typer.Option(help="Port; 0 takes a free one.", min=0, max=65535)] = 0,
) -> None:
    """Open the job book in the browser (this machine only; stop with Ctrl-C)."""
    _open(folder, browser, port)


def _open(folder: Path, browser: bool, port: int, begin: tuple[str, ...] = ()) -> None:
    from diewright.book.serve import serve

    more = "\nThe tryout is being worked, then the hoist line and plating: look at their pages." if begin else ""
    serve(
        folder, port=port, open_browser=browser, begin=begin,
        say=lambda address: console.say(f"The job book is open at {address}{more}\nStop it with Ctrl-C."),
    )  # fmt: skip


@app.command()
def work(
    folder: Folder,
    stages: Annotated[
        list[str] | None,
        typer.Argument(
            help="Stages to work; if none is named all but those that take long (proposal, tryout, window, draws_tryout, compensation, cad).",
            show_default=False,
        ),
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Work them even if they are current.")] = False,
    as_json: Json = False,
) -> None:
    """Work the stages that are out of date. Ctrl-C stops; what was finished is kept."""
    desk = _desk(folder)
    with _stop_on_interrupt():
        console.work(desk, tuple(stages or ()), again=again, quiet=as_json)
    _report(desk, as_json)


def _report(desk: Desk, as_json: bool) -> None:
    from diewright.desk import worst

    rows = desk.findings()
    if as_json:
        console.put_json({"states": _states(desk), "findings": [r.as_dict() for r in rows]})
    else:
        console.states(desk)
        console.findings(rows)
    if worst(rows) == "stop":
        raise typer.Exit(1)


def _states(desk: Desk) -> dict[str, Any]:
    return {
        n: {"state": s.state, "because": s.because, "key": s.key, "folder": str(s.entry.folder) if s.entry else None}
        for n, s in desk.states().items()
    }


@app.command()
def state(folder: Folder, as_json: Json = False) -> None:
    """Say which stages are current, which are out of date, and why."""
    desk = _desk(folder)
    if as_json:
        console.put_json(_states(desk))
    else:
        console.states(desk)


@app.command()
def show(folder: Folder, stage: Annotated[str, typer.Argument(help="Name of the stage.")], as_json: Json = False) -> None:
    """Show the figures and values of a stage, with formula and source."""
    desk = _desk(folder)
    result = desk.result(stage)
    if result is None:
        raise InputError(f"{desk.graph.stages[stage].title} has not been worked yet.", where=stage, help=f"diewright work {folder} {stage}")
    if as_json:
        console.put_json(
            {"values": result.values, "figures": [f.model_dump(mode="json") for f in result.figures], "files": sorted(result.files)}
        )
    else:
        console.result(result)


@app.command("set")
def set_fields(
    folder: Folder,
    changes: Annotated[list[str], typer.Argument(help="Fields as path=value, e.g. sheet.thickness=1.0 part.press_direction=[0,0,-1]")],
) -> None:
    """Change fields of the job; the file keeps its comments and every edit can be undone."""
    wanted: dict[str, Any] = {}
    for change in changes:
        path, sign, text = change.partition("=")
        if not sign:
            raise InputError(f"'{change}' is not of the form path=value.", help="Example: sheet.thickness=1.0")
        wanted[path.strip()] = _value(text.strip())
    desk = _desk(folder)
    desk.edit(wanted)
    console.states(desk)


def _value(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return text


@app.command()
def take(folder: Folder, stage: Annotated[str, typer.Argument(help="Stage whose offer is taken: proposal or compensation.")]) -> None:
    """Take over what a stage's result offers: proposed fields, compensated faces."""
    desk = _desk(folder)
    desk.take(stage)
    console.states(desk)


@app.command()
def undo(folder: Folder) -> None:
    """Take the last edit of the job back."""
    from diewright.job import file as job_file

    job_file.undo(folder)
    console.states(_desk(folder))


@app.command()
def redo(folder: Folder) -> None:
    """Make an undone edit again."""
    from diewright.job import file as job_file

    job_file.redo(folder)
    console.states(_desk(folder))


@app.command("findings")
def findings_(folder: Folder, as_json: Json = False) -> None:
    """List the findings of the last results: stop, attend, note."""
    rows = _desk(folder).findings()
    if as_json:
        console.put_json([r.as_dict() for r in rows])
    else:
        console.findings(rows)


@app.command()
def accept(
    folder: Folder,
    finding: Annotated[str, typer.Argument(help="Key of the finding, e.g. blank.margin")],
    reason: Annotated[str, typer.Option(help="Why it is accepted; it is printed with the finding.")],
    by: Annotated[str, typer.Option(help="Who accepts it.")] = "",
) -> None:
    """Accept a finding that says attend, with a reason."""
    _desk(folder).accept(finding, reason, by)
    console.say(f"Accepted {finding}: {reason}")


@app.command("print")
def print_(
    folder: Folder,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="PDF to write; by default job.pdf in the job folder.")] = None,
    size: Annotated[str, typer.Option(help="Paper: A4 or Letter.")] = "A4",
) -> None:
    """Print the book as a PDF with title block, pictures, findings and sources."""
    from diewright.book.paper import make
    from diewright.job.disk import write_whole

    target = out or folder / "job.pdf"
    write_whole(target, make(_desk(folder), size=size))
    console.say(f"Wrote {target}")


@app.command()
def export(
    folder: Folder,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="Folder to write to; by default 'shop' in the job folder.")] = None,
) -> None:
    """Write the shop-floor files of the current results: DXF, STEP, and the meshes as VTKHDF."""
    from diewright.job.disk import write_whole

    desk, target = _desk(folder), out or folder / "shop"
    written = []
    for name, stage_state in desk.states().items():
        found = desk.result(name)
        if found is None or stage_state.entry is None:
            continue
        files = dict(found.files)
        files.update({f"{name}-{m}.vtkhdf": (stage_state.entry.folder / f"{m}.vtkhdf").read_bytes() for m in found.meshes})
        for file_name, data in files.items():
            write_whole(target / file_name, data)
            written.append(f"{target / file_name}" + ("" if stage_state.state == "current" else f"  (out of date: {stage_state.because})"))
    console.say("\n".join(written) if written else "Nothing has been worked yet; start with: diewright work")


@app.command()
def sheets(
    name: Annotated[str, typer.Argument(help="One sheet, with all its values and sources.", show_default=False)] = "", as_json: Json = False
) -> None:
    """List the sheet library, or one sheet with the source of every value."""
    console.sheets(name, as_json)


@app.command()
def presses(as_json: Json = False) -> None:
    """List the generic presses of the table."""
    console.presses(as_json)


@app.command()
def prove(
    cases: Annotated[list[str] | None, typer.Argument(help="Cases to run; all if none is named.", show_default=False)] = None,
    as_json: Json = False,
    readme: Annotated[Path | None, typer.Option(help="Write the table into this README between its marks.")] = None,
) -> None:
    """Run the checks against published values and print ours beside them."""
    from diewright import prove as prove_package

    rows = prove_package.run(cases or [], listen=None if as_json else console.proving)
    if readme is not None:
        prove_package.write_table(readme, rows)
    if as_json:
        console.put_json([r.as_dict() for r in rows])
    else:
        console.proofs(rows)
    if any(r.verdict == "misses" for r in rows):
        raise typer.Exit(1)


def main() -> None:
    """Entry point; every refusal is one sentence on standard error and an exit code."""
    try:
        app(standalone_mode=True)
    except DeskError as error:
        if "--json" in sys.argv:
            console.put_json(error.as_dict())
        else:
            console.refuse(error)
        sys.exit(next((code for kind, code in EXIT_CODES.items() if isinstance(error, kind)), 4))
    except BrokenPipeError:
        sys.exit(0)
    except Exception as error:
        if os.environ.get("DIEWRIGHT_DETAILS"):
            raise
        what = f"diewright failed for a reason we did not foresee ({type(error).__name__})."
        console.refuse(DeskError(what, help="Please report it with what you see when you set DIEWRIGHT_DETAILS=1 and try again."))
        sys.exit(70)


if __name__ == "__main__":
    main()
