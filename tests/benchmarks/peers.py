"""The same work by general Python libraries, called as their documentation shows."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

from tests.benchmarks.data import log_of, rows_of

# Both readers know the same declarations: pandera those the suite derives, frictionless its Table Schema files.
_PANDERA = """
import sys, pandas as pd
from analysis.records.dictionary import TABLES, Kind
from analysis.records.schemas import schema_of
DTYPES = {Kind.KEY: "string", Kind.NUMBER: float, Kind.INTEGER: "Int64", Kind.YES_NO: "boolean"}
for table in TABLES:
    kinds = {c.name: DTYPES[c.kind] for c in table.columns if c.kind in DTYPES}
    kinds |= {c.name: pd.CategoricalDtype(list(c.codes)) for c in table.columns if c.kind is Kind.CHOICE}
    days = [c.name for c in table.columns if c.kind is Kind.DATE]
    frame = pd.read_csv(f"{sys.argv[1]}/{table.file}", dtype=kinds, parse_dates=days, true_values=["yes"],
                        false_values=["no"], keep_default_na=False, na_values=[""])
    frame = frame.astype({name: "datetime64[ns]" for name in days})
    schema_of(table.name).validate(frame, lazy=True)
"""
_FRICTIONLESS = """
import pathlib, sys, frictionless, json
from analysis.records.dictionary import TABLES
for table in TABLES:
    schema = json.loads(pathlib.Path(sys.argv[2], f"{table.name}.schema.json").read_text(encoding="utf-8"))
    schema.pop("foreignKeys", None)
    with frictionless.system.use_context(trusted=True):
        schema = frictionless.Schema.from_descriptor(schema)
        report = frictionless.Resource(path=f"{sys.argv[1]}/{table.file}", schema=schema).validate(limit_errors=10)
    assert report.valid, report.flatten(["message"])[:1]
"""


def _python(code: str, *arguments: str) -> None:
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", code, *arguments], capture_output=True, check=False)
    if done.returncode:
        raise RuntimeError(done.stderr.decode(errors="replace")[-400:])


def pandera_check(n: int, folder: Path):
    """pandas reads, pandera validates: types, codes, ranges, required cells; no keys, no rules between tables."""
    log = log_of(n, folder)
    return lambda: _python(_PANDERA, str(log))


def frictionless_check(n: int, folder: Path):
    """The same by frictionless, keys of each table included."""
    from analysis.records.table_schema import write_schemas

    log, schemas = log_of(n, folder), Path(tempfile.mkdtemp(dir=folder))
    write_schemas(schemas)
    return lambda: _python(_FRICTIONLESS, str(log), str(schemas))


def glm(n: int, _: Path):
    import statsmodels.api as sm

    rows = rows_of(n)
    return lambda: sm.GLM(rows.y, rows.x, family=sm.families.Binomial()).fit()


def logit(n: int, _: Path):
    import statsmodels.api as sm

    rows = rows_of(n)
    return lambda: sm.Logit(rows.y, rows.x).fit(disp=0)


def firthmodels(n: int, _: Path):
    from firthmodels import FirthLogisticRegression

    rows = rows_of(n)

    def run() -> object:
        fit = FirthLogisticRegression(backend="numpy").fit(rows.x[:, 1:], rows.y)
        return fit.conf_int(method="pl"), fit.lrt()

    return run


def mixed(n: int, _: Path):
    import numpy as np
    from statsmodels.genmod.bayes_mixed_glm import BinomialBayesMixedGLM

    rows = rows_of(n)
    z = (rows.group[:, None] == np.unique(rows.group)).astype(float)

    def run() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return BinomialBayesMixedGLM(rows.y, rows.x, z, np.zeros(z.shape[1], dtype=int)).fit_vb()

    return run


def phreg(n: int, _: Path):
    import statsmodels.api as sm

    rows = rows_of(n)
    return lambda: sm.PHReg(rows.time, rows.x[:, 1:], (rows.event == 1).astype(float), ties="efron").fit()


def lifelines_cox(n: int, _: Path):
    import pandas as pd
    from lifelines import CoxPHFitter

    rows = rows_of(n)
    frame = pd.DataFrame(rows.x[:, 1:], columns=list(rows.names[1:])).assign(time=rows.time, event=rows.event == 1)
    return lambda: CoxPHFitter().fit(frame, "time", "event")


def sksurv_cox(n: int, _: Path):
    from sksurv.linear_model import CoxPHSurvivalAnalysis
    from sksurv.util import Surv

    rows = rows_of(n)
    y = Surv.from_arrays(rows.event == 1, rows.time)
    return lambda: CoxPHSurvivalAnalysis(ties="efron").fit(rows.x[:, 1:], y)


def cif(n: int, _: Path):
    from statsmodels.duration.survfunc import CumIncidenceRight

    rows = rows_of(n)
    return lambda: CumIncidenceRight(rows.time, rows.event)


def lifelines_cif(n: int, _: Path):
    from lifelines import AalenJohansenFitter

    rows = rows_of(n)

    def run() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # ties are moved apart at random, which it says each time
            return AalenJohansenFitter(seed=1).fit(rows.time, rows.event, event_of_interest=1)

    return run


def logit_optimism(n: int, _: Path):
    import numpy as np
    import statsmodels.api as sm

    from analysis.models.scores import auc, log_scores

    rows, rng = rows_of(n), np.random.default_rng(1)

    def measured(x, y, beta):
        p = 1 / (1 + np.exp(-x @ beta))
        slope = sm.Logit(y, np.column_stack([np.ones(len(y)), x @ beta])).fit(disp=0).params[1]
        return np.array([np.mean((p - y) ** 2), log_scores(p, y).mean(), auc(p, y).value, slope])

    def run() -> object:
        start = sm.Logit(rows.y, rows.x).fit(disp=0).params
        out = []
        for _ in range(200):
            at = rng.integers(0, n, n)
            beta = sm.Logit(rows.y[at], rows.x[at]).fit(start, disp=0).params
            out.append(measured(rows.x[at], rows.y[at], beta) - measured(rows.x, rows.y, beta))
        return np.mean(out, axis=0)

    return run
