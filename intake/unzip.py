"""ZIP files that people send, unpacked safely: photos and survey.json only, nothing outside, nothing huge."""

from __future__ import annotations

import os
import shutil
import stat
import zipfile
from pathlib import Path, PurePosixPath

from intake.photos import EXTENSIONS, LARGEST_FILE_BYTES
from intake.refusing import shown
from intake.scratch import scratch_beside
from vision.findings import PerpendError

MOST_MEMBERS = 5000
LARGEST_TOTAL_BYTES = 20_000_000_000
LARGEST_RATIO = 100.0
"""Photos hardly shrink in a ZIP; more than this many times larger is no photo (judgement)."""
_BLOCK = 1 << 20


def unpack_zip(archive: Path) -> Path:
    """Return the folder beside the ZIP file, of its name, with its photos; unpacked once, whole or not at all.

    Raises
    ------
    PerpendError
        Not a ZIP file, a member that would leave the folder, a link, or far too large unpacked; nothing is kept then.
    """
    target = archive.with_suffix("")
    if target.is_dir():
        return target
    if target.exists():
        raise PerpendError(f"{target}: is in the way of {archive.name}. Rename one of the two.")
    try:
        with scratch_beside(target) as scratch, zipfile.ZipFile(archive) as opened:
            whole = scratch / target.name
            whole.mkdir()
            _unpack(opened, archive.name, whole)
            os.replace(_without_wrapping(whole), target)
    except PerpendError:
        raise
    except (NotImplementedError, RuntimeError) as error:
        raise PerpendError(
            f"{archive.name}: cannot be unpacked ({shown(str(error))}). Send a plain ZIP without password."
        ) from error
    except (FileExistsError, NotADirectoryError, IsADirectoryError) as error:
        raise PerpendError(f"{archive.name}: two of its files have one name. Send it again, or a folder.") from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise PerpendError(
            f"{archive.name}: could not be unpacked ({reason}). Free some space and try again."
        ) from error
    except Exception as error:  # the reader of ZIP files raises many kinds on damaged data
        reason = shown(str(error)) if isinstance(error, zipfile.BadZipFile) else "damaged"
        raise PerpendError(f"{archive.name}: not a whole ZIP file ({reason}). Send it again, or a folder.") from error
    return target


def _without_wrapping(whole: Path) -> Path:
    """Return the folder that holds the survey: where a ZIP file holds one folder of its own name, that one."""
    inside = list(whole.iterdir())
    only = inside[0] if len(inside) == 1 else whole
    return only if only.is_dir() and only.name == whole.name else whole


def _unpack(opened: zipfile.ZipFile, name: str, target: Path) -> None:
    members = [member for member in opened.infolist() if not member.is_dir()]
    if len(members) > MOST_MEMBERS:
        raise PerpendError(f"{name}: {len(members)} files are too many for a survey. Send one ZIP for each home.")
    for member in members:
        _refuse(member, name)
    total = sum(member.file_size for member in members)
    if total > LARGEST_TOTAL_BYTES:
        raise PerpendError(
            f"{name}: {total / 1e9:.0f} GB unpacked is too large for a survey. Send one ZIP for each home."
        )
    for member in members:
        if _is_wanted(member.filename):
            _write_member(opened, member, target)


def _refuse(member: zipfile.ZipInfo, name: str) -> None:
    """Refuse a member that would leave the folder, is a link, or grows like no photo does."""
    path = PurePosixPath(member.filename.replace("\\", "/"))
    named = shown(member.filename)[:80]
    if path.is_absolute() or ".." in path.parts or ":" in path.parts[0]:
        raise PerpendError(
            f'{name}: "{named}" would be written outside its folder. Do not open this ZIP; ask who sent it.'
        )
    if stat.S_ISLNK(member.external_attr >> 16):
        raise PerpendError(f'{name}: "{named}" is a link to another place. Send the photo itself.')
    if member.file_size > LARGEST_FILE_BYTES and _is_wanted(member.filename):
        raise PerpendError(f'{name}: "{named}" is {member.file_size / 1e6:.0f} MB, too large for a photo.')
    if member.file_size > _BLOCK and member.file_size > LARGEST_RATIO * max(member.compress_size, 1):
        raise PerpendError(
            f'{name}: "{named}" grows {member.file_size // max(member.compress_size, 1)} times when unpacked.'
        )


def _is_wanted(filename: str) -> bool:
    path = PurePosixPath(filename.replace("\\", "/"))
    hidden = any(part.startswith((".", "__MACOSX")) for part in path.parts)
    return not hidden and (path.suffix.lower() in EXTENSIONS or path.name in ("survey.json", "prices.toml"))


def _write_member(opened: zipfile.ZipFile, member: zipfile.ZipInfo, target: Path) -> None:
    """Write one member; the reader gives no more than the ZIP's table says, and raises where its sum then differs."""
    path = target.joinpath(*PurePosixPath(member.filename.replace("\\", "/")).parts)
    path.parent.mkdir(parents=True, exist_ok=True)
    with opened.open(member) as source, path.open("xb") as file:
        shutil.copyfileobj(source, file, _BLOCK)
