"""Exporters on nbconvert: a notebook as Typst source, as PDF without LaTeX or a browser, as HTML.

Installed as ``audit-typst``, ``audit-pdf`` and ``audit-html``, so that ``jupyter nbconvert --to audit-pdf``
works on any notebook. A report shows what its cells display, not their code. What cannot be shown stops it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

from nbconvert.exporters.templateexporter import TemplateExporter
from traitlets import Bool, List, Unicode, default

from fluewright.report import typesetting
from fluewright.report.objects import templates
from fluewright.report.typesetting import HTML, STANDARDS, TYPST_SOURCE, Form

__all__ = ["AuditHTMLExporter", "TypstPDFExporter", "TypstSourceExporter"]


class _ReportExporter(TemplateExporter):
    """What the exporters share: the pieces of the notebook laid out, then handed to the template."""

    show_code = Bool(False, help="Print the code of each cell too, for teaching.").tag(config=True)
    _form: ClassVar[Form]

    @default("template_name")
    def _template_name_default(self) -> str:
        return "audit"

    @default("extra_template_basedirs")
    def _default_extra_template_basedirs(self) -> list[str]:
        return [str(templates())]

    @default("template_extension")
    def _template_extension_default(self) -> str:
        return self._form.template.removeprefix("index")

    @default("optimistic_validation")
    def _optimistic_validation_default(self) -> bool:
        return True

    def default_filters(self) -> Iterator[tuple[str, Any]]:
        """Add to nbconvert's filters those of our templates."""
        yield from super().default_filters()  # type: ignore[no-untyped-call]
        yield from typesetting.FILTERS.items()

    def _init_preprocessors(self) -> None:
        super()._init_preprocessors()  # type: ignore[no-untyped-call]
        self.register_preprocessor(self._lay_out)  # type: ignore[no-untyped-call]

    def _lay_out(self, nb: Any, resources: Any) -> tuple[Any, Any]:
        """Put into the resources what the template prints, and the files that go beside it."""
        metadata = resources.get("metadata", {})
        layout = typesetting.laid_out(
            nb,
            self._form,
            name=metadata.get("name", ""),
            folder=Path(metadata.get("path") or "."),
            code=self.show_code,
            warn=self.log.warning,
        )
        resources["report"] = layout
        resources["outputs"] = dict(layout.files)
        return nb, resources


class TypstSourceExporter(_ReportExporter):
    """A notebook as the source of a Typst document, its attached files and pictures beside it."""

    file_extension = Unicode(".typ").tag(config=True)
    export_from_notebook = "Typst source"
    output_mimetype = "text/vnd.typst"
    _form = TYPST_SOURCE

    def from_notebook_node(self, nb: Any, resources: Any = None, **kw: Any) -> tuple[Any, Any]:
        """Return the source and the resources, in which ``outputs`` are the files that the source names."""
        source, resources = super().from_notebook_node(nb, resources, **kw)
        return typesetting.in_our_glyphs(source), resources


class TypstPDFExporter(TypstSourceExporter):
    """A notebook as PDF/A-3, by the Typst compiler; the same notebook and date give the same bytes."""

    file_extension = Unicode(".pdf").tag(config=True)
    export_from_notebook = "PDF by Typst"
    pdf_standards = List(
        [list(standards) for standards in STANDARDS],
        help="Sets of PDF standards; the first that the notebook can meet is used.",
    ).tag(config=True)

    def from_notebook_node(self, nb: Any, resources: Any = None, **kw: Any) -> tuple[Any, Any]:
        """Return the PDF as bytes, and the resources, in which ``pdf_standards`` are those it meets."""
        source, resources = super().from_notebook_node(nb, resources, **kw)
        pdf, met = typesetting.compiled(source, resources["report"], self.pdf_standards)
        del resources["outputs"]  # all is inside the file
        resources["pdf_standards"] = list(met)
        return pdf, resources


class AuditHTMLExporter(_ReportExporter):
    """A notebook as one HTML file that loads nothing from elsewhere and runs nothing."""

    file_extension = Unicode(".html").tag(config=True)
    export_from_notebook = "HTML, self-contained"
    output_mimetype = "text/html"
    _form = HTML

    def from_notebook_node(self, nb: Any, resources: Any = None, **kw: Any) -> tuple[Any, Any]:
        """Return the page and the resources."""
        page, resources = super().from_notebook_node(nb, resources, **kw)
        del resources["outputs"]  # all is inside the page
        return page, resources
