"""System calls that change files, counted; one of them fails, or the process is killed right after it. For bench_faults.py."""

import builtins
import contextlib
import errno
import io
import os
import shutil
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import pyarrow.csv
import pyarrow.parquet
from hotfuel.session import results


class Calls:
    """System calls that change files under `root`, counted; call `fails_at` ends as `how` says ("" only counts)."""

    def __init__(self, root: Path, fails_at: int = -1, how: str = "") -> None:
        self.root, self.fails_at, self.how = str(root), fails_at, how
        self.names: list[str] = []
        self._real = {name: getattr(os, name) for name in ("write", "kill", "getpid")}

    def _due(self, name: str) -> bool:
        self.names.append(name)
        return len(self.names) - 1 == self.fails_at

    def _raise(self) -> None:
        number = errno.EIO if self.how == "EIO" else errno.ENOSPC
        raise OSError(number, os.strerror(number))

    def _after(self, due: bool) -> None:
        if due and self.how == "kill":
            self._real["kill"](self._real["getpid"](), signal.SIGKILL)

    def around(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        """`real`, counted as `name`; its first argument is a path, or a descriptor of a file under root."""

        def call(*arguments: Any, **options: Any) -> Any:
            if not self._mine(arguments[0]):
                return real(*arguments, **options)
            due = self._due(name)
            if due and self.how == "short" and name == "write":
                return real(arguments[0], bytes(arguments[1])[: len(arguments[1]) // 2], *arguments[2:], **options)
            if due and self.how in ("EIO", "ENOSPC"):
                self._raise()
            result = real(*arguments, **options)
            self._after(due)
            return result

        return call

    def opened(self, real: Callable[..., Any]) -> Callable[..., Any]:
        """open(), counted where it writes; writes of the file object are counted too."""

        def call(file: Any, mode: str = "r", *arguments: Any, **options: Any) -> Any:
            if not set(mode) & set("wax+") or not self._mine(file):
                return real(file, mode, *arguments, **options)
            due = self._due("open")
            if due and self.how in ("EIO", "ENOSPC"):
                self._raise()
            result = _File(real(file, mode, *arguments, **options), self)
            self._after(due)
            return result

        return call

    def whole_table(self, real: Callable[..., Any]) -> Callable[..., Any]:
        """A library's writer that makes system calls of its own: it fails with half a file."""

        def call(table: Any, where: Any, *arguments: Any, **options: Any) -> Any:
            due = self._due("library write")
            real(table, where, *arguments, **options)
            if due and self.how in ("EIO", "ENOSPC", "short"):
                os.truncate(where, os.stat(where).st_size // 2)
                self._raise()
            self._after(due)

        return call

    def _mine(self, where: Any) -> bool:
        if isinstance(where, int):
            try:
                return os.readlink(f"/proc/self/fd/{where}").startswith(self.root)
            except OSError:
                return False
        return str(Path(os.fspath(where)).absolute()).startswith(self.root)

    @contextlib.contextmanager
    def patched(self) -> Iterator[None]:
        """Inside this context the calls are counted and fail."""
        names = ("write", "fsync", "replace", "open", "mkdir", "unlink", "rmdir", "ftruncate")
        with contextlib.ExitStack() as stack:
            for name in names:
                stack.enter_context(mock.patch.object(os, name, self.around(name, getattr(os, name))))
            for module in (builtins, io):
                stack.enter_context(mock.patch.object(module, "open", self.opened(module.open)))
            for module, name in ((pyarrow.csv, "write_csv"), (pyarrow.parquet, "write_table"), (results, "_write")):
                stack.enter_context(mock.patch.object(module, name, self.whole_table(getattr(module, name))))
            stack.enter_context(mock.patch.object(shutil, "_USE_CP_SENDFILE", False, create=True))
            yield


class _File:
    """A file object whose writes are counted."""

    def __init__(self, file: Any, calls: Calls) -> None:
        self._file, self._calls = file, calls

    def write(self, data: Any) -> int:
        due = self._calls._due("write")
        if due and self._calls.how in ("EIO", "ENOSPC", "short"):
            self._file.write(data[: len(data) // 2])
            self._calls._raise()
        done = self._file.write(data)
        if due and self._calls.how == "kill":
            self._file.flush()
        self._calls._after(due)
        return done

    def __enter__(self) -> "_File":
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def __iter__(self) -> Iterator[Any]:
        return iter(self._file)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)
