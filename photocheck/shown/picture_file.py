"""Pictures as files."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from photocheck.errors import PhotoError
from photocheck.files import replacing
from photocheck.speech import tr

if TYPE_CHECKING:
    pass


def picture_kind(path: str | os.PathLike[str]) -> str:
    """``"JPEG"`` or ``"PNG"`` by the ending of the name.

    Raises
    ------
    PhotoError
        For another ending.
    """
    suffix = Path(path).suffix.lower()
    kind = {".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG"}.get(suffix)
    if kind is None:
        raise PhotoError(
            tr("a picture cannot be written as '{suffix}'", suffix=suffix)
            if suffix
            else tr("the name has no ending"),
            where=os.fspath(path),
            do=tr("End the name in .jpg or .png"),
        )
    return kind


def write_picture(path: str | os.PathLike[str], rgb: NDArray[np.uint8]) -> None:
    """Write a picture, JPEG or PNG by the name's ending, whole or not at all.

    Parameters
    ----------
    path : path
    rgb : (H, W, 3) uint8

    Raises
    ------
    PhotoError
        For another ending, or when the file cannot be written.
    """
    from PIL import Image

    kind = picture_kind(path)
    with replacing(path) as target:
        picture = Image.fromarray(rgb)
        if kind == "JPEG":
            picture.save(target, "JPEG", quality=88)
        else:
            picture.save(target, "PNG")
