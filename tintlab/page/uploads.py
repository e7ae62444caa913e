"""Photos that come in over the page: decoded whole before they are believed.

The openers of the command line do the decoding, with their limits; only then is a
photo put into the opened folder, under a name of its own.
"""

import tempfile
from pathlib import Path

from tintlab.chips.photo_open import HEIF_ENDINGS, RAW_ENDINGS, crops, open_photo
from tintlab.document import shown
from tintlab.errors import PageError
from tintlab.page.folder import Folder, plain_name, put_new
from tintlab.page.safety import MOST_UPLOAD
from tintlab.picture import open_picture

PICTURES = "pictures"
PLAIN_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".gif", ".bmp")
MOST_ALIKE = 1000


def keep(
    folder: Folder, name: str, content: bytes, *, beside: Path | None = None
) -> Path:
    """Check a photo and put it into the opened folder, never over another file.

    Parameters
    ----------
    folder : Folder
    name : str
        As the browser sent it; only its last part is used.
    content : bytes
    beside : Path, optional
        Inset file whose folder gets it; the root of the opened folder otherwise.

    Returns
    -------
    Path
        In the sub-folder `pictures`.

    Raises
    ------
    TintlabError
        When it is too large, no picture that we can read, or cannot be written.
    """
    if len(content) > MOST_UPLOAD:
        raise PageError(
            f"this file has {len(content) / 1e6:.0f} MB; at most "
            f"{MOST_UPLOAD / 1e6:.0f} MB can be uploaded, so take a smaller picture"
        )
    plain = plain_name(name)
    if Path(plain).suffix.lower() not in (*PLAIN_ENDINGS, *RAW_ENDINGS, *HEIF_ENDINGS):
        raise PageError(
            f"{shown(plain)} is no picture by its name; use JPEG, PNG, TIFF or camera "
            "raw"
        )
    check(plain, content)
    home = folder.root if beside is None else folder.inside(beside).parent
    place = folder.inside(home / PICTURES)
    try:
        place.mkdir(exist_ok=True)
    except OSError as problem:
        raise PageError(
            f'cannot make the folder "{place}": {problem.strerror or problem}; check '
            "the rights of the folder above"
        ) from None
    path = _free(place, plain)
    put_new(path, content)
    return path


def check(name: str, content: bytes) -> None:
    """Decode a photo whole, in a place of its own that is gone afterwards.

    Parameters
    ----------
    name : str
        A plain name; its ending tells camera raw files.
    content : bytes

    Raises
    ------
    InsetError
        When it is no picture that we can read, cut short, or too large.
    """
    with tempfile.TemporaryDirectory(prefix="tintlab-") as place:
        path = Path(place) / name
        path.write_bytes(content)
        if path.suffix.lower() in (*RAW_ENDINGS, *HEIF_ENDINGS):
            crops(open_photo(path), [(0, 0, 1, 1)])
        else:
            open_picture(path)


def _free(place: Path, name: str) -> Path:
    """Find a name that is not taken."""
    first = place / name
    others = (f"{first.stem}-{n}{first.suffix}" for n in range(2, MOST_ALIKE))
    for path in (first, *(place / other for other in others)):
        if not path.exists():
            return path
    raise PageError(
        f'the folder "{place.name}" has {MOST_ALIKE} pictures called "{name}" '
        "already; clear it, or rename the photo"
    )
