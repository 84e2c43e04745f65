"""Run a report's notebook with parameters, in a kernel of its own, and make the PDF and the HTML of it.

The kernel is started before this process imports anything slow; while the notebook runs there, this process
gets ready to set the pages. For several reports one kernel stays warm, and sets of pages are made meanwhile.
"""

from __future__ import annotations

import ast
import json
import os
import queue
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Any, Self, TypeAlias

from fluewright import errors
from fluewright.errors import FluewrightError, InputError, RenderError, UnknownNameError

__all__ = ["Kernel", "Rendered", "check_folder", "own_notebook", "render", "render_each", "write_whole"]

Progress: TypeAlias = Callable[[str, int, int], None]
Notebook: TypeAlias = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendered:
    """A finished report, not yet written anywhere.

    Parameters
    ----------
    pdf, html : bytes
        The two files.
    attached : mapping of str to bytes
        The files that travel inside the PDF, by name; among them ``results.json`` for an audit.
    pdf_standards : sequence of str
        The standards that the PDF meets.
    messages : sequence of str
        What the notebook wrote to its error stream: shown to the person, not printed in the report.
    """

    pdf: bytes
    html: bytes
    attached: Mapping[str, bytes]
    pdf_standards: Sequence[str]
    messages: Sequence[str]


# ---- the kernel -------------------------------------------------------------------------------------------

_START_LIMIT = 60.0  # seconds a kernel may take to answer first
_LONGEST_SOCKET_NAME = 90  # characters; the operating system's limit is a little above


class Kernel:
    """A Python kernel of this very interpreter, started at once and ended with the ``with`` block.

    It reads no one's Jupyter or IPython settings, keeps no history, and listens on local sockets only.
    """

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="fluewright-")
        root = Path(self._folder.name)
        self._connection = root / "connection.json"
        self._log = root / "log.txt"
        local = os.name == "posix" and len(str(root)) < _LONGEST_SOCKET_NAME
        with self._log.open("wb") as log:
            self._process = subprocess.Popen(
                [
                    *(sys.executable, "-P", "-m", "ipykernel_launcher", "-f", str(self._connection)),
                    *(("--transport=ipc", f"--ip={root / 'socket'}") if local else ()),
                    "--HistoryManager.enabled=False",
                    "--IPKernelApp.capture_fd_output=False",
                    "--log-level=CRITICAL",
                ],
                env=_kernel_environment(root),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,  # Ctrl-C is for this process, which then ends the kernel
            )
        self._client: Any = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._client is not None:
            self._client.stop_channels()
        self._process.kill()
        self._process.wait()
        self._folder.cleanup()

    def _died(self) -> RenderError:
        last = self._log.read_text(encoding="utf-8", errors="replace").strip().splitlines()[-3:]
        return RenderError(
            f"the kernel that ran the notebook ended with status {self._process.poll()}"
            + (f": {' / '.join(last)}" if last else "")
        )

    def _connected(self) -> Any:
        if self._client is not None:
            return self._client
        from jupyter_client.blocking.client import BlockingKernelClient

        until = time.monotonic() + _START_LIMIT
        while not self._connection.exists() or not self._connection.stat().st_size:
            if self._process.poll() is not None:
                raise self._died()
            if time.monotonic() > until:
                raise RenderError(f"the kernel did not start within {_START_LIMIT:.0f} s")
            time.sleep(0.005)
        client = BlockingKernelClient(connection_file=str(self._connection))
        client.load_connection_file()
        client.start_channels()
        try:
            client.wait_for_ready(timeout=_START_LIMIT)
        except RuntimeError as error:
            raise self._died() from error
        self._client = client
        return client

    def forget(self) -> None:
        """Drop the names of an earlier notebook, so that nothing of it reaches the next."""
        if self._client is not None:
            self.run("(lambda shell: (shell.user_ns.clear(), shell.init_user_ns()))(get_ipython());")

    def run(self, source: str) -> list[dict[str, Any]]:
        """Run one cell and return its outputs, in the form a notebook file holds them."""
        client = self._connected()
        asked = client.execute(source, allow_stdin=False, store_history=False)
        outputs: list[dict[str, Any]] = []
        while True:
            try:
                message = client.get_iopub_msg(timeout=1)
            except queue.Empty:
                if self._process.poll() is not None:
                    raise self._died() from None
                continue
            if message["parent_header"].get("msg_id") != asked:
                continue
            if message["msg_type"] == "status" and message["content"]["execution_state"] == "idle":
                return outputs
            _take(message["msg_type"], message["content"], outputs)


def _kernel_environment(root: Path) -> dict[str, str]:
    own = {
        "IPYTHONDIR": str(root / "ipython"),
        "JUPYTER_CONFIG_DIR": str(root / "jupyter"),
        "JUPYTER_NO_CONFIG": "1",
        "MPLBACKEND": "agg",
        "PYTHONHASHSEED": "0",  # the same order of sets, so the same bytes
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
    }
    return {name: value for name, value in os.environ.items() if name != "PYTHONSTARTUP"} | own


def _take(kind: str, content: Mapping[str, Any], outputs: list[dict[str, Any]]) -> None:
    """Add one message of the kernel to the outputs of the cell."""
    if kind == "stream":
        last = outputs[-1] if outputs else {}
        if last.get("output_type") == "stream" and last["name"] == content["name"]:
            last["text"] += content["text"]
        else:
            outputs.append({"output_type": "stream", "name": content["name"], "text": content["text"]})
    elif kind in {"display_data", "execute_result"}:
        outputs.append(
            {"output_type": "display_data", "data": content["data"], "metadata": content["metadata"]}
        )
        outputs[-1]["display_id"] = content.get("transient", {}).get("display_id")
    elif kind == "update_display_data":
        for output in outputs:
            if output.get("display_id") == content["transient"]["display_id"]:
                output["data"] = content["data"]
    elif kind == "clear_output":
        outputs.clear()
    elif kind == "error":
        outputs.append({"output_type": "error", **content})


# ---- the notebook and its parameters ----------------------------------------------------------------------


def own_notebook(name: str) -> Path:
    """Return the path of a notebook that comes with this package.

    Raises
    ------
    UnknownNameError
        There is none of that name.
    """
    package = Path(errors.__file__).parent
    folders = [package / "notebooks", package.parents[1] / "notebooks"]  # installed; in the source tree
    for folder in folders:
        if (path := folder / f"{name}.ipynb").is_file():
            return path
    raise UnknownNameError(
        "notebook", name, {path.stem for folder in folders for path in folder.glob("*.ipynb")}
    )


def _read(path: Path) -> Notebook:
    try:
        notebook = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"the notebook {path} cannot be read: {error}") from error
    for cell in notebook["cells"]:
        cell["source"] = "".join(cell["source"])
    return dict(notebook)


_PLAIN: dict[str, Any] = {"str": str, "bool": bool, "int": int, "float": (int, float)}


def _with_parameters(notebook: Notebook, parameters: Mapping[str, object]) -> list[str]:
    """Return the sources of the cells, the parameters given set right after the cell tagged "parameters"."""
    sources = [cell["source"] for cell in notebook["cells"]]
    if not parameters:
        return sources
    tagged = [
        n
        for n, cell in enumerate(notebook["cells"])
        if "parameters" in cell.get("metadata", {}).get("tags", ())
    ]
    if len(tagged) != 1:
        raise InputError(
            f"the notebook has {len(tagged)} cells tagged 'parameters'; it needs one to be given any"
        )
    known = _declared(sources[tagged[0]])
    lines = [f"{name} = {_literal(name, given, known)}" for name, given in parameters.items()]
    sources[tagged[0]] += "\n" + "\n".join(lines)
    return sources


def _literal(name: str, given: object, known: Mapping[str, str | None]) -> str:
    """Return the value of a parameter as Python source, checked against what the notebook declares."""
    if name not in known:
        raise UnknownNameError("parameter of the notebook", name, known)
    value = str(given) if isinstance(given, Path) else given
    wanted = _PLAIN.get(known[name] or "")
    if wanted and (not isinstance(value, wanted) or (isinstance(value, bool) and known[name] != "bool")):
        raise InputError(f"parameter {name} is {value!r}; the notebook asks for {known[name]}")
    try:
        ast.literal_eval(repr(value))
    except (ValueError, SyntaxError):
        raise InputError(
            f"parameter {name} is {value!r}; give text, numbers, true or false, or lists of these"
        ) from None
    return repr(value)


def _declared(source: str) -> dict[str, str | None]:
    """Return the names that a parameters cell assigns, each with its annotation as text."""
    names: dict[str, str | None] = {}
    for statement in ast.parse(source).body:
        if isinstance(statement, ast.AnnAssign) and isinstance(statement.target, ast.Name):
            names[statement.target.id] = ast.unparse(statement.annotation)
        elif isinstance(statement, ast.Assign):
            names.update({target.id: None for target in statement.targets if isinstance(target, ast.Name)})
    return names


def _executed(
    kernel: Kernel, notebook: Notebook, parameters: Mapping[str, object], progress: Progress | None
) -> Notebook:
    """Return the notebook with the outputs of a run."""
    sources = _with_parameters(notebook, parameters)
    cells = []
    for number, (cell, source) in enumerate(zip(notebook["cells"], sources, strict=True), start=1):
        if progress:
            progress("running the notebook", number, len(sources))
        if cell["cell_type"] == "code":
            outputs = kernel.run(source) if source.strip() else []
            for output in outputs:
                if output["output_type"] == "error":
                    raise _raised(output, number)
            cells.append({**cell, "outputs": outputs})
        else:
            cells.append(cell)
    return {**notebook, "cells": cells}


def _raised(output: Mapping[str, Any], number: int) -> FluewrightError:
    """Return the error of a cell as it was raised there, if raised on purpose; else as a `RenderError`."""
    # A visit's error is an InputError; its own class would cost this process the import of pandas.
    name = "InputError" if output["ename"] == "VisitError" else output["ename"]
    kind = getattr(errors, name, None)
    if isinstance(kind, type) and issubclass(kind, FluewrightError):
        error = kind.__new__(kind, output["evalue"])
        error.args = (output["evalue"],)
        return error
    error = RenderError(f"cell {number} of the notebook failed: {output['ename']}: {output['evalue']}")
    error.add_note("\n".join(output.get("traceback", ())))
    return error


# ---- from notebook to pages -------------------------------------------------------------------------------


def _get_ready(markdown: Sequence[str]) -> None:
    from fluewright.report import typesetting

    typesetting.warm_up(markdown)


def _set_pages(notebook: Notebook, name: str, folder: Path) -> Rendered:
    from fluewright.report.typesetting import HTML, TYPST_SOURCE, compiled, laid_out, printed_page

    messages: list[str] = []
    source = laid_out(notebook, TYPST_SOURCE, name=name, folder=folder, code=False, warn=messages.append)
    pdf, standards = compiled(printed_page(source, TYPST_SOURCE), source)
    page = laid_out(notebook, HTML, name=name, folder=folder, code=False, warn=lambda told: None)
    return Rendered(
        pdf=pdf,
        html=printed_page(page, HTML).encode(),
        attached=MappingProxyType(dict(source.contents)),
        pdf_standards=standards,
        messages=tuple(messages),
    )


def render_each(
    notebook: Path,
    parameters: Sequence[Mapping[str, object]],
    *,
    kernel: Kernel | None = None,
    progress: Progress | None = None,
) -> Iterator[Rendered | FluewrightError]:
    """Yield one report for every set of parameters, in order; where one fails, its error instead.

    Parameters
    ----------
    notebook : Path
        A notebook with one cell tagged "parameters".
    parameters : sequence of mappings
        Names and values to set after that cell.
    kernel : Kernel, optional
        One that was started already, to save its starting time; still to be ended by who started it.
    progress : callable, optional
        Called with what is being done, the step, and the number of steps.
    """
    with ThreadPoolExecutor(max_workers=1) as worker, nullcontext(kernel) if kernel else Kernel() as own:
        book = _read(notebook)
        ready = worker.submit(
            _get_ready, [c["source"] for c in book["cells"] if c["cell_type"] == "markdown"]
        )
        waiting: list[Future[Rendered] | FluewrightError] = []
        for given in parameters:
            try:
                own.forget()
                done = _executed(own, book, given, progress)
            except FluewrightError as error:
                waiting.append(error)
            else:
                waiting.append(worker.submit(_set_pages, done, notebook.stem, notebook.parent))
            # The pages before this one were set while this one ran.
            while len(waiting) > 1:
                yield _outcome(waiting.pop(0))
        ready.result()
        if progress and waiting:
            progress("setting the pages", 1, 1)
        for last in waiting:
            yield _outcome(last)


def _outcome(one: Future[Rendered] | FluewrightError) -> Rendered | FluewrightError:
    if isinstance(one, FluewrightError):
        return one
    try:
        return one.result()
    except FluewrightError as error:
        return error


def render(
    notebook: Path,
    parameters: Mapping[str, object],
    *,
    kernel: Kernel | None = None,
    progress: Progress | None = None,
) -> Rendered:
    """Return one report; see `render_each`.

    Raises
    ------
    InputError, UnitError, UnknownNameError
        What the notebook raised, with the same words; or a parameter that it does not know.
    RenderError
        The notebook or the page failed for a reason of the program's own.
    """
    (outcome,) = render_each(notebook, [parameters], kernel=kernel, progress=progress)
    if isinstance(outcome, FluewrightError):
        raise outcome
    return outcome


# ---- writing ----------------------------------------------------------------------------------------------


def check_folder(folder: Path) -> None:
    """Make `folder` where it is lacking and see that it can be written, before any work is done for it.

    Raises
    ------
    InputError
        It cannot be made or written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise InputError(
            f"the folder {folder} cannot be written ({error.strerror}); name another one with --output"
        ) from error


def write_whole(files: Mapping[Path, bytes], *, overwrite: bool = False) -> None:
    """Write all the files or none, each aside first and then renamed into place.

    Raises
    ------
    InputError
        One is there already with other content and `overwrite` is false; or a folder cannot be written.
    """
    for path, content in files.items():
        if path.exists() and not overwrite and (not path.is_file() or path.read_bytes() != content):
            raise InputError(
                f"{path} is there already and differs; move it away, or write over it with --overwrite"
            )
    aside: list[tuple[Path, Path]] = []
    try:
        for path, content in files.items():
            with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as part:
                aside.append((Path(part.name), path))
                part.write(content)
        for part_path, path in aside:
            part_path.chmod(0o644)
            part_path.replace(path)
    except OSError as error:
        raise InputError(f"{error.filename or 'a report'} cannot be written: {error.strerror}") from error
    finally:
        for part_path, _ in aside:
            part_path.unlink(missing_ok=True)
