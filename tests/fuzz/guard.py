"""What no input may do, watched from outside the code: take too long or too much, write or read elsewhere, fetch.

The properties are watched with Python's audit events, a timer of processor time and the system's own limit of memory,
so a finding does not depend on what the code says of itself.
"""

from __future__ import annotations

import contextlib
import io
import os
import signal
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

__all__ = ["SECONDS", "Broken", "Folder", "limit_memory", "more_time", "new_folder", "quiet", "unwatched", "watched"]

#: Of processor time that one input may take.
SECONDS = 10.0
#: On top of what Python and the libraries take when they are loaded.
MEMORY_BYTES = 2_000_000_000
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
#: Events whose first arguments are paths that are made, moved or taken away.
_CHANGING = {"os.mkdir": 1, "os.rename": 2, "os.link": 2, "os.symlink": 2, "os.remove": 1, "os.rmdir": 1, "os.chmod": 1}
_FETCHING = ("socket.connect", "socket.getaddrinfo", "urllib.Request", "subprocess.Popen", "os.system", "os.exec")
#: Where code and fonts lie; the rest of the disk is nobody's business.
_CODE = tuple(
    os.path.realpath(path)
    for path in (sys.prefix, sys.base_prefix, Path(__file__).parents[2], Path.cwd(), "/usr/share", "/usr/lib")
)
#: What libraries look at when they are loaded.
_DEVICES = ("/dev/null", "/dev/urandom", "/proc/", "/etc/localtime") + tuple(
    str(Path(place, "ezdxf").expanduser()) for place in ("~/.config", "~/.cache")
)


class Broken(BaseException):
    """A property does not hold; no except clause of the code catches it."""


class Folder:
    """A folder in which one input may do as it likes, with a secret beside it that nothing may touch.

    Parameters
    ----------
    above : where it is made

    Attributes
    ----------
    path : the folder
    outside : a file beside it
    temporary : what is done here must be gone in the end
    """

    def __init__(self, above: str | Path) -> None:
        above = Path(os.path.realpath(above))
        self.path = above / "chosen"
        self.outside = above / "outside.toml"
        self.temporary = above / "temporary"
        self.path.mkdir(parents=True, exist_ok=True)
        self.temporary.mkdir(exist_ok=True)
        self.outside.write_text("secret", encoding="utf-8")

    @contextlib.contextmanager
    def entered(self) -> Iterator[None]:
        """With this as the folder in which a command is given."""
        before = os.getcwd()  # noqa: PTH109 - a plain name is wanted back
        os.chdir(self.path)
        try:
            yield
        finally:
            os.chdir(before)

    def is_outside(self, path: object, *, itself: bool = False) -> bool:
        """Whether a path leads out of the folder; itself: a link is meant, not what it leads to."""
        if isinstance(path, int) or path is None:
            return False
        text = os.fsdecode(path)  # type: ignore[arg-type]
        if "\0" in text:
            return False
        above, name = os.path.split(text)
        real = f"{os.path.realpath(above)}{os.sep}{name}" if itself else os.path.realpath(text)
        inside = (str(self.path), str(self.temporary))
        return real not in inside and not real.startswith(tuple(folder + os.sep for folder in inside))


class _Watch:
    """The audit hook; it cannot be taken off again, so it is switched."""

    folder: Folder | None = None
    fault = ""

    def hook(self, event: str, arguments: tuple[object, ...]) -> None:
        folder = self.folder
        if folder is None or self.fault:
            return
        self.folder = None
        try:
            self.fault = self.judge(folder, event, arguments)
        finally:
            self.folder = folder
        if self.fault:
            raise Broken(self.fault)

    def judge(self, folder: Folder, event: str, arguments: tuple[object, ...]) -> str:
        if event in _FETCHING:
            return f"fetches or starts something: {event} {arguments!r:.200}"
        if event == "open":
            path, mode, flags = arguments
            writes = bool(isinstance(flags, int) and flags & _WRITING) or any(c in str(mode) for c in "wax+")
            if not folder.is_outside(path):
                return ""
            text = os.fsdecode(path)  # type: ignore[arg-type]
            if writes and not text.startswith("/dev/null"):
                return f"writes outside its folder: {text!r:.200}"
            real = os.path.realpath(text)
            return "" if real.startswith((*_CODE, *_DEVICES)) else f"reads outside its folder: {text!r:.200}"
        for path in arguments[: _CHANGING.get(event, 0)]:
            # The target of a link may be named relative to it.
            if event != "os.symlink" and folder.is_outside(path, itself=True):
                return f"changes the disk outside its folder: {event} {path!r:.200}"
        return ""


_watch = _Watch()
_hooked = False


@contextlib.contextmanager
def watched(folder: Folder, seconds: float = SECONDS) -> Iterator[None]:
    """Watch what is done inside; Broken where a property does not hold, also where the code went on after it.

    Parameters
    ----------
    folder : all that may be written, and of files that are no code all that may be read
    seconds : of processor time
    """
    # A hook stays for good.
    global _hooked
    if not _hooked:
        sys.addaudithook(_watch.hook)
        _hooked = True

    def late(*_):
        raise Broken("takes too long")

    timed = hasattr(signal, "SIGPROF")
    if timed:
        signal.signal(signal.SIGPROF, late)
        signal.setitimer(signal.ITIMER_PROF, seconds)
    _watch.folder, _watch.fault = folder, ""
    before, tempfile.tempdir = tempfile.tempdir, str(folder.temporary)
    try:
        yield
    except MemoryError:
        raise Broken("takes too much memory") from None
    finally:
        _watch.folder, tempfile.tempdir = None, before
        if timed:
            signal.setitimer(signal.ITIMER_PROF, 0.0)
    if _watch.fault:
        raise Broken(_watch.fault)
    if left := os.listdir(folder.temporary):  # noqa: PTH208 - names are all that is wanted
        raise Broken(f"leaves {left} among temporary files")


def more_time(seconds: float) -> None:
    """From now on so much for what is being watched: for what is known to take long."""
    if hasattr(signal, "SIGPROF"):
        signal.setitimer(signal.ITIMER_PROF, seconds)


@contextlib.contextmanager
def unwatched() -> Iterator[None]:
    """For what a target does itself."""
    folder, _watch.folder = _watch.folder, None
    try:
        yield
    finally:
        _watch.folder = folder


def limit_memory() -> None:
    """Let this process take so much more than now, where the system can."""
    try:
        import resource

        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    except (ImportError, OSError):
        return
    now = pages * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (now + MEMORY_BYTES, now + MEMORY_BYTES))


@contextlib.contextmanager
def quiet() -> Iterator[tuple[io.StringIO, io.StringIO]]:
    """What is printed inside, to the screen and as errors."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        yield out, err


def new_folder(name: str) -> Folder:
    """A fresh folder on the disk."""
    return Folder(tempfile.mkdtemp(prefix=f"fuzz-{name}-"))
