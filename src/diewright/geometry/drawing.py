"""An empty DXF drawing to be filled, and its bytes: mm, audited, and the same content gives the same bytes in every process."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from diewright.errors import SolveError


@dataclass
class Drawing:
    """An ezdxf document ``doc`` and its model space; ``content`` are the bytes once the drawing is closed."""

    doc: Any
    space: Any
    content: bytes = field(default=b"")


@contextmanager
def drawing(*, linetypes: bool = False) -> Iterator[Drawing]:
    """A DXF R2010 drawing in mm without dates and random identifiers, written when the block ends; raises :class:`SolveError` if its own audit finds a fault."""
    import ezdxf
    from ezdxf import units

    kept = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        doc = ezdxf.new("R2010", setup=["linetypes"] if linetypes else False)
        doc.units = units.MM
        doc.header["$MEASUREMENT"] = 1
        made = Drawing(doc, doc.modelspace())
        yield made
        audit = doc.audit()
        if audit.has_errors:
            raise SolveError(f"The drawing fails its own audit: {audit.errors[0].message}", where="dxf")
        # the library writes its classes in the order of a hash, which differs from process to process
        doc.classes.add_required_classes(doc.dxfversion)
        doc.classes.classes = dict(sorted(doc.classes.classes.items()))
        text = io.StringIO()
        doc.write(text)
        made.content = text.getvalue().encode("utf-8")
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = kept
