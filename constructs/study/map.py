"""The part of a study file on files for its section: `[section.map]`, and how they are read."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Annotated, Any, Generic, Literal, TypeVar

from pydantic import AfterValidator, PrivateAttr, ValidationInfo, model_validator

from buttress.fe.errors import InputError
from buttress.study import tables
from buttress.study.checked import Checked, OneOf, Within, refuse

if TYPE_CHECKING:
    import numpy as np

    from buttress.study.outline import Drawn

T = TypeVar("T")


def _hexadecimal(value: str) -> str:
    if len(value) != 64 or not set(value) <= set("0123456789abcdef"):
        refuse("not a SHA-256 digest", expected="64 hexadecimal digits, or no digest")
    return value


Sha256 = Annotated[str, AfterValidator(_hexadecimal)]


def density_laws() -> tuple[str, ...]:
    """Names of the laws from density to modulus."""
    return tables.rows("materials", "density law")


def told(key: str, read: Callable[[], T]) -> T:
    """The result of a reader; its InputError becomes an error of the study at a key."""
    try:
        return read()
    except InputError as error:
        refuse(error.message, key=key, value=error.value or None, expected=error.expected)


def folder_of(info: ValidationInfo) -> Path | None:
    """The folder of the study that is being read."""
    found = (info.context or {}).get("folder")
    return None if found is None else Path(found)


class MapInput(Checked):
    """`[section.map]`: modulus or density of the bone from a file.

    Rows of the file run from the top down, columns from -x to +x; a cell is ``scale_mm`` wide and
    high and the lower left corner of the map lies at ``origin_mm``. A PNG is greyscale: black
    means the value ``low_...``, white ``high_...``; CSV and NPY hold MPa or g/cm3. The map
    replaces the ``core`` between the cortical side plates, or ``all`` of the depth.
    """

    file: str
    sha256: Sha256 | None = None
    kind: Literal["modulus", "density"]
    covers: Literal["core", "all"] = "core"
    scale_mm: Annotated[float, Within(0.02, 10, "mm")]
    origin_mm: tuple[Annotated[float, Within(-300, 300, "mm")],
                     Annotated[float, Within(-600, 100, "mm")]]
    low_MPa: Annotated[float, Within(0, 40000, "MPa")] | None = None
    high_MPa: Annotated[float, Within(1, 40000, "MPa")] | None = None
    low_g_cm3: Annotated[float, Within(0, 2.5, "g/cm3")] | None = None
    high_g_cm3: Annotated[float, Within(0.05, 2.5, "g/cm3")] | None = None
    law: Annotated[str, OneOf(density_laws, "law from density to modulus")] | None = None
    smoothing_mm: Annotated[float, Within(0, 10, "mm")] = 0.0
    least_MPa: Annotated[float, Within(0.5, 2000, "MPa")] | None = None

    _rows: Any = PrivateAttr()  # Keyed[np.ndarray]; numpy is not imported before it is needed

    @model_validator(mode="after")
    def _consistent(self, info: ValidationInfo) -> MapInput:
        if (self.law is None) == (self.kind == "density"):
            refuse("a map of density needs a law, a map of modulus takes none", key="law",
                   value=self.law, expected=" or ".join(f'"{n}"' for n in density_laws())
                   if self.kind == "density" else 'no law, or kind = "density"')
        self._greys()
        content, rows = told("file", lambda: grid(folder_of(info), self.file, self.sha256))
        # A study is frozen for its users; it is still under construction here.
        object.__setattr__(self, "sha256", content)
        low, high = self.range
        if low is not None and high is not None:
            rows = low + (high - low) * rows
        self._rows = Keyed((content, low, high), rows)
        return self

    def _greys(self) -> None:
        """Refuse grey values without a scale, or a scale without grey values."""
        unit = "MPa" if self.kind == "modulus" else "g_cm3"
        picture = self.file.lower().endswith(".png")
        for key in ("low_MPa", "high_MPa", "low_g_cm3", "high_g_cm3"):
            needed = picture and key.endswith(unit)
            if (getattr(self, key) is not None) != needed:
                refuse(f"missing key: the value of {'black' if key.startswith('low') else 'white'}"
                       if needed else f"{key} does not fit a map of {self.kind} in "
                       + ("an image" if picture else "numbers"), key=key,
                       value=getattr(self, key), expected="a value in "
                       + unit.replace("_", "/") if needed else f"no {key}")
        low, high = self.range
        if low is not None and high is not None and not low < high:
            refuse("the value of black is not less than that of white", key=f"low_{unit}",
                   value=low, expected=f"less than high_{unit} = {high:g}")

    @property
    def range(self) -> tuple[float | None, float | None]:
        """Values of black and white in an image, MPa or g/cm3; None for numbers."""
        if self.kind == "modulus":
            return self.low_MPa, self.high_MPa
        return self.low_g_cm3, self.high_g_cm3

    @property
    def rows(self) -> Keyed[np.ndarray]:
        """Contents of the file, top row first: MPa or g/cm3."""
        return self._rows

    @property
    def words(self) -> str:
        """The map in words, for reports."""
        source = f"{self.kind} from {self.file}"
        if self.law is not None:
            source += f" by the law {self.law}"
        smooth = (f"smoothed over {self.smoothing_mm:g} mm" if self.smoothing_mm else
                  "not smoothed")
        return f"{source}, {self.scale_mm:g} mm per cell, {smooth}"


class Keyed(Generic[T]):
    """An object that equals another with the same key: for comparing studies, and for caches."""

    def __init__(self, key: object, thing: T) -> None:
        self.key, self.thing = key, thing

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Keyed) and self.key == other.key

    def __hash__(self) -> int:
        return hash(self.key)


def grid(folder: Path | None, file: str, sha256: str | None) -> tuple[str, np.ndarray]:
    """Digest and rows (top first) of a map file. Raises InputError."""
    from buttress.study.files import inside, same
    from buttress.study.grids import READERS

    path = inside(folder, file, tuple(READERS))
    about = path.stat()
    content, rows = _grid(path, file, about.st_size, about.st_mtime_ns)
    same(content, sha256, file)
    return content, rows


@lru_cache(maxsize=4)
def _grid(path: Path, name: str, size: int, changed: int) -> tuple[str, np.ndarray]:
    """Digest and rows of a file; cached while size and date are unchanged, for sweeps."""
    from buttress.study.files import digest, read_bytes
    from buttress.study.grids import LARGEST, READERS

    del size, changed
    raw = read_bytes(path, name, LARGEST)
    rows = READERS[PurePosixPath(name).suffix.lower()](raw, name)
    rows.flags.writeable = False
    return digest(raw), rows


def outline(folder: Path | None, file: str, sha256: str | None, height: float,
            smoothing: float) -> tuple[str, Drawn]:
    """Digest and shape of an outline file. Raises InputError."""
    from buttress.study.files import digest, inside, read_bytes, same
    from buttress.study.outline import LARGEST

    raw = read_bytes(inside(folder, file, (".csv",)), file, LARGEST)
    content = digest(raw)
    same(content, sha256, file)
    return content, _drawn(raw, file, height, smoothing)


@lru_cache(maxsize=4)
def _drawn(raw: bytes, name: str, height: float, smoothing: float) -> Drawn:
    from buttress.study.outline import drawn, points_of

    return drawn(points_of(raw, name), height, name, smoothing)
