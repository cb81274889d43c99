"""The form of notebooks/accept_or_decline.ipynb: one intake typed in, assessed as ``rework assess`` does."""

from __future__ import annotations

import datetime as dt
from html import escape
from typing import Any

from analysis.errors import ReworkError
from analysis.questions.assess import assess
from analysis.questions.counter import Counter
from analysis.questions.intake_form import ASKED, SHARE, read_intake
from analysis.records.dictionary import DONOR_FACTS
from analysis.report.assess_command import SHARE_HELP
from analysis.report.assess_words import assessment_lines
from analysis.report.enter_form import field_of, title_of


class AssessForm:
    """Fields for what is known of an intake, and the answer below; shown in JupyterLab only, never on a page.

    Parameters
    ----------
    counter : Counter
        The answers of the notebook: its models, its settings.
    today : date, optional
        By default the computer's date.
    """

    def __init__(self, counter: Counter, today: dt.date | None = None) -> None:
        import ipywidgets as w

        self._bench, self._settings, self._today = counter.bench, counter.log.settings, today or dt.date.today()
        columns = (*ASKED, *DONOR_FACTS)
        self.fields = {column.name: field_of(column) for column in columns}
        titles = {column.name: title_of(column, self._settings) for column in columns}
        self.fields[SHARE] = w.Text(placeholder="%", tooltip=SHARE_HELP, layout=w.Layout(width="11em"))
        titles[SHARE] = f"<label title='{escape(SHARE_HELP, quote=True)}'>share due at the start, %</label>"
        cells = [
            w.VBox([w.HTML(titles[name]), field], layout=w.Layout(margin="0 1em 0 0"))
            for name, field in self.fields.items()
        ]
        self.button, self.answer = w.Button(description="assess"), w.HTML()
        self.button.on_click(lambda _: self.assess())
        self.box = w.VBox([w.Box(cells, layout=w.Layout(flex_flow="row wrap")), self.button, self.answer])

    def _repr_mimebundle_(self, **options: Any) -> Any:
        return self.box._repr_mimebundle_(**options)

    def assess(self) -> None:
        """Answer for what stands in the fields; faults are told instead, all at once."""
        texts = {name: field.value for name, field in self.fields.items()}
        try:
            found = assess(self._bench, read_intake(texts, self._settings, self._today), self._settings)
            lines = assessment_lines(found, self._settings)
        except ReworkError as error:
            lines = ["✗ " + str(error)]
        self.answer.value = (
            f"<pre role='status' style='white-space: pre-wrap; line-height: 1.3'>{escape(chr(10).join(lines))}</pre>"
        )
