"""Reading a print back: pages and text."""

import io

from pypdf import PdfReader

STAMP = 1_790_000_000


def read(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def text_of(pdf: bytes) -> str:
    """All text of the PDF, with line ends and narrow spaces as plain spaces."""
    words = " ".join(page.extract_text() for page in read(pdf).pages)
    return " ".join(words.replace("\u202f", " ").replace("\u200b", "").split())
