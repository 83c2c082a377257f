"""PDF files whose pages are smaller than the layout of what is on them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from matplotlib.backends.backend_pdf import Op, PdfFile, PdfPages


class _ReducedFile(PdfFile):
    """A PDF file whose pages are ``share`` of the size of their layout."""

    share = 1.0

    def newPage(self, width: float, height: float) -> None:
        super().newPage(self.share * width, self.share * height)
        self.output(self.share, 0, 0, self.share, 0, 0, Op.concat_matrix)


class ReducedPages(PdfPages):
    """A PDF file for `matplotlib`'s ``savefig``, with pages of a share of their layout's size."""

    def __init__(self, path: str | Path, share: float, metadata: dict[str, Any]) -> None:
        super().__init__(path, metadata=metadata)
        self.share = share

    def _ensure_file(self) -> PdfFile:
        if self._file is None:
            self._file = _ReducedFile(self._filename, metadata=self._metadata)
            self._file.share = self.share
        return self._file
