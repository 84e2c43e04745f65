"""A notebook runs in a kernel of its own and comes back whole, or as one clear error; files appear whole."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import nbformat
import pikepdf
import pypdf
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from fluewright.errors import InputError, RenderError, UnknownNameError
from fluewright.report.render import (
    Kernel,
    Rendered,
    check_folder,
    own_notebook,
    render,
    render_each,
    write_whole,
)

PARAMETERS = 'name: str = "default"\ncount: int = 1\nshare: float = 0.5\nloose = None'
SHOW = """
import json
from datetime import UTC, datetime
from fluewright.report.objects import Attachment, Attachments, Document
given = {"name": name, "count": count, "share": share, "loose": loose}
Document(title="T", header=("S",), date="d", made=datetime(2025, 1, 1, tzinfo=UTC))
"""
ATTACH = 'Attachments([Attachment(name="results.json", description="d", content=json.dumps(given).encode())])'


def notebook(folder: Path, *cells: Any, parameters: str | None = PARAMETERS) -> Path:
    first = [] if parameters is None else [new_code_cell(parameters, metadata={"tags": ["parameters"]})]
    made = [new_code_cell(cell) if isinstance(cell, str) else cell for cell in cells]
    path = folder / "any.ipynb"
    nbformat.write(new_notebook(cells=[*first, *made]), path)
    return path


def text_of(rendered: Rendered) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(rendered.pdf)).pages)


def test_parameters_reach_the_notebook_and_files_come_back_out_of_the_pdf(tmp_path: Path) -> None:
    path = notebook(tmp_path, SHOW, ATTACH, new_markdown_cell("# Words"), "print(given['name'])")
    steps: list[tuple[str, int, int]] = []
    hostile = "a'b\"c\\ \n{x} ש"
    given = {"name": hostile, "share": 2, "loose": [1, {"a": Path("p").name}]}
    rendered = render(path, given, progress=lambda *step: steps.append(step))
    assert json.loads(rendered.attached["results.json"]) == {"count": 1, **given}
    with pikepdf.open(io.BytesIO(rendered.pdf)) as pdf:
        assert pdf.attachments["results.json"].get_file().read_bytes() == rendered.attached["results.json"]
    assert "{x}" in text_of(rendered)
    assert b"{x}" in rendered.html
    assert rendered.pdf_standards == ("a-3a", "ua-1")
    assert [(now, of) for words, now, of in steps if words == "running the notebook"] == [
        (n, 5) for n in range(1, 6)
    ]


def test_two_runs_give_the_same_bytes_and_nothing_leaks_from_one_to_the_next(tmp_path: Path) -> None:
    leak = "assert 'left' not in globals(); left = 1; print({chr(97 + n) for n in range(20)})"
    path = notebook(tmp_path, SHOW, leak)
    one, two = render_each(path, [{"name": "x"}, {"name": "x"}])
    assert isinstance(one, Rendered)
    assert one == two
    assert render(path, {"name": "x"}) == one


def test_several_come_in_order_and_one_that_fails_spoils_no_other(tmp_path: Path) -> None:
    fails = "from fluewright.errors import UnitError\nif name == 'bad': raise UnitError('name is bad: write it well')"
    path = notebook(tmp_path, SHOW, ATTACH, fails)
    first, wrong, unknown, last = render_each(
        path, [{"name": "1"}, {"name": "bad"}, {"nam": "2"}, {"name": "3"}]
    )
    assert isinstance(first, Rendered)
    assert isinstance(last, Rendered)
    assert [json.loads(one.attached["results.json"])["name"] for one in (first, last)] == ["1", "3"]
    assert type(wrong).__name__ == "UnitError"
    assert str(wrong) == "name is bad: write it well"
    assert isinstance(unknown, UnknownNameError)


@pytest.mark.parametrize(
    ("given", "kind", "words"),
    [
        ({"nmae": "x"}, UnknownNameError, r"no parameter of the notebook 'nmae'; did you mean 'name'"),
        ({"name": 3}, InputError, r"parameter name is 3; the notebook asks for str"),
        ({"count": 1.5}, InputError, r"parameter count is 1\.5; the notebook asks for int"),
        ({"count": True}, InputError, r"parameter count is True; the notebook asks for int"),
        ({"loose": {1, 2}.__class__}, InputError, r"give text, numbers, true or false"),
        ({"share": float("nan")}, InputError, r"give text, numbers, true or false"),
    ],
)
def test_parameters_that_do_not_fit_are_refused(tmp_path: Path, given: Any, kind: Any, words: str) -> None:
    with pytest.raises(kind, match=words):
        render(notebook(tmp_path, SHOW), given)


def test_a_notebook_without_its_parameters_cell_takes_none(tmp_path: Path) -> None:
    path = notebook(tmp_path, "print(1)", parameters=None)
    with pytest.raises(InputError, match="has 0 cells tagged 'parameters'"):
        render(path, {"name": "x"})


def test_a_file_that_is_no_notebook(tmp_path: Path) -> None:
    (tmp_path / "broken.ipynb").write_text("{")
    with pytest.raises(InputError, match=r"broken\.ipynb cannot be read"):
        render(tmp_path / "broken.ipynb", {})
    with pytest.raises(InputError, match=r"absent\.ipynb cannot be read"):
        render(tmp_path / "absent.ipynb", {})
    with pytest.raises(UnknownNameError, match="no notebook 'audi'; did you mean 'audit'"):
        own_notebook("audi")
    assert own_notebook("audit").is_file()


def test_a_defect_names_its_cell_and_carries_the_traceback_as_a_note(tmp_path: Path) -> None:
    with pytest.raises(
        RenderError, match=r"cell 2 of the notebook failed: ZeroDivisionError: division by zero"
    ) as caught:
        render(notebook(tmp_path, "1 / 0"), {})
    assert "ZeroDivisionError" in "".join(caught.value.__notes__)


def test_a_kernel_that_dies_is_told_not_waited_for(tmp_path: Path) -> None:
    with pytest.raises(RenderError, match="the kernel that ran the notebook ended"):
        render(notebook(tmp_path, "import os, signal; os.kill(os.getpid(), signal.SIGKILL)"), {})


def test_the_kernel_is_ended_whatever_happens(tmp_path: Path) -> None:
    path = notebook(
        tmp_path, "import os; print(os.getpid()); open(name, 'w').write(str(os.getpid()))", "1 / 0"
    )
    with pytest.raises(RenderError, match="cell 3"):
        render(path, {"name": str(tmp_path / "pid")})
    with pytest.raises(ProcessLookupError):
        os.kill(int((tmp_path / "pid").read_text()), 0)


def test_the_error_stream_becomes_messages(tmp_path: Path) -> None:
    rendered = render(notebook(tmp_path, "import sys; print('careful', file=sys.stderr)\nprint('said')"), {})
    assert rendered.messages == ("cell 2: careful",)
    assert "careful" not in text_of(rendered)
    assert "said" in text_of(rendered)


def test_outputs_are_kept_as_a_notebook_keeps_them(tmp_path: Path) -> None:
    cell = (
        "from IPython.display import clear_output, display\nprint('gone'); clear_output(); print('one'); print('two')\n"
        "shown = display('before', display_id=True); shown.update('after')"
    )
    text = text_of(render(notebook(tmp_path, cell), {}))
    assert "one\ntwo" in text
    assert "after" in text
    assert "gone" not in text
    assert "before" not in text


def test_no_ones_settings_and_no_file_nearby_change_a_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("json.py", "pint.py", "fluewright.py"):
        (tmp_path / name).write_text("raise SystemExit('the wrong module')")
    odd = tmp_path / "odd"
    (odd / "profile_default" / "startup").mkdir(parents=True)
    (odd / "profile_default" / "startup" / "00.py").write_text("import builtins; builtins.spoiled = 1")
    for name in ("jupyter_config.py", "ipython_kernel_config.py", "jupyter_nbconvert_config.py"):
        (odd / name).write_text("raise SystemExit('the wrong settings')")
    (odd / "start.py").write_text("import builtins; builtins.spoiled = 2")
    for variable in (
        "IPYTHONDIR",
        "JUPYTER_CONFIG_DIR",
        "JUPYTER_CONFIG_PATH",
        "JUPYTER_DATA_DIR",
        "JUPYTER_PATH",
    ):
        monkeypatch.setenv(variable, str(odd))
    monkeypatch.setenv("PYTHONSTARTUP", str(odd / "start.py"))
    monkeypatch.chdir(tmp_path)
    cell = "import builtins, sys, pint; assert not hasattr(builtins, 'spoiled'); print(sys.executable)"
    rendered = render(notebook(tmp_path, SHOW, ATTACH, cell), {})
    assert Path(sys.executable).name in text_of(rendered)


def test_the_kernel_loads_nothing_of_what_sets_the_pages(tmp_path: Path) -> None:
    cell = "import sys; print(sorted({'nbformat', 'nbconvert', 'jsonschema', 'typst', 'pypandoc'} & set(sys.modules)))"
    assert "[]" in text_of(render(notebook(tmp_path, SHOW, ATTACH, cell), {}))


def test_this_process_loads_nothing_slow_before_the_kernel_starts() -> None:
    code = (
        "import sys; import fluewright.report.render; "
        "print(sorted({'nbformat', 'nbconvert', 'jupyter_client', 'zmq', 'numpy', 'matplotlib', 'pandas', 'pint', "
        "'cantera', 'pydantic', 'typst', 'pypandoc'} & set(sys.modules)))"
    )
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
        == "[]\n"
    )


def test_a_kernel_started_ahead_serves_and_stays(tmp_path: Path) -> None:
    path = notebook(tmp_path, SHOW, ATTACH)
    with Kernel() as kernel:
        assert json.loads(render(path, {"name": "a"}, kernel=kernel).attached["results.json"])["name"] == "a"
        assert json.loads(render(path, {"name": "b"}, kernel=kernel).attached["results.json"])["name"] == "b"


# ---- writing ------------------------------------------------------------------------------------------------


def test_writes_all_files_and_the_same_again_in_silence(tmp_path: Path) -> None:
    files = {tmp_path / "a.pdf": b"one", tmp_path / "a.html": b"two"}
    write_whole(files)
    write_whole(files)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == files


def test_a_file_that_differs_is_not_written_over_unless_asked(tmp_path: Path) -> None:
    old, new = tmp_path / "b.pdf", tmp_path / "a.html"
    old.write_bytes(b"old")
    with pytest.raises(InputError, match=r"b\.pdf is there already and differs.*--overwrite"):
        write_whole({new: b"x", old: b"new"})
    assert old.read_bytes() == b"old"
    assert not new.exists()
    write_whole({new: b"x", old: b"new"}, overwrite=True)
    assert (old.read_bytes(), new.read_bytes()) == (b"new", b"x")


def test_all_files_or_none(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(InputError, match="cannot be written"):
        write_whole({tmp_path / "a.pdf": b"x", tmp_path / "absent" / "b.html": b"y"})
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_folder_that_cannot_be_written_is_told_ahead(tmp_path: Path) -> None:
    check_folder(tmp_path / "new" / "deep")
    assert (tmp_path / "new" / "deep").is_dir()
    assert not list((tmp_path / "new" / "deep").iterdir())
    (tmp_path / "file").write_bytes(b"")
    for folder in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(InputError, match=r"the folder .*file.* cannot be written .*--output"):
            check_folder(folder)
