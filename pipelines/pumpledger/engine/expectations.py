"""Runs a Great Expectations suite of ``expectations/`` over a small table and says which rows fail what.

Belongs here: the adapter. What is expected stands in the JSON of the suites. Great Expectations takes seconds to
import, so it is imported inside, and `warm_up` does it beside other work. Its analytics are off. An error inside an
expectation is a fault of the tool.
"""

from __future__ import annotations

import json
import os
import threading
from dataclasses import dataclass

import polars as pl

from pumpledger.engine.database import resource_folder
from pumpledger.engine.tables import CHECKS

_ENVIRONMENT = {"GX_ANALYTICS_ENABLED": "false"}


@dataclass(frozen=True, slots=True)
class Check:
    """One expectation on one table. ``failing`` are the keys of the rows that fail it; empty for an expectation on the
    whole table."""

    suite: str
    expectation: str
    meaning: str
    critical: bool
    success: bool
    observed: str
    failing: tuple[str, ...]


def warm_up() -> threading.Thread:
    """Import Great Expectations on a thread of its own, while DuckDB works without the interpreter."""
    # No daemon: one that is cut off amid an import, where a run ends early, aborts the whole process.
    thread = threading.Thread(target=_import, name="great-expectations")
    thread.start()
    return thread


def run_suite(name: str, rows: pl.DataFrame, key: str) -> list[Check]:
    """Judge ``rows`` by ``expectations/<name>.json``; ``key`` is the column that names a row.

    Raises:
        RuntimeError: an expectation could not be evaluated.
    """
    if rows.is_empty():
        return []
    gx = _import()
    import pandas as pd

    text = (resource_folder("expectations") / f"{name}.json").read_text(encoding="utf-8")
    suite = gx.ExpectationSuite(**json.loads(text))
    frame = pd.DataFrame({column: rows[column].to_list() for column in rows.columns})
    context = gx.get_context(mode="ephemeral")
    context.variables.progress_bars = gx.data_context.types.base.ProgressBarsConfig(globally=False)
    batch = (
        context.data_sources.add_pandas(name)
        .add_dataframe_asset(name)
        .add_batch_definition_whole_dataframe(name)
        .get_batch({"dataframe": frame})
    )
    result = batch.validate(suite, result_format={"result_format": "COMPLETE", "unexpected_index_column_names": [key]})
    return [_check(name, item, key) for item in result.results]


def _check(suite: str, item, key: str) -> Check:  # noqa: ANN001
    raised = item.exception_info or {}
    if raised.get("raised_exception") or any(
        isinstance(part, dict) and part.get("raised_exception") for part in raised.values()
    ):
        raise RuntimeError(
            f"expectation {item.expectation_config.type} of suite {suite} could not be evaluated: {raised}"
        )
    meta = item.expectation_config.meta or {}
    failing = sorted({str(entry[key]) for entry in item.result.get("unexpected_index_list") or []})
    observed = item.result.get("observed_value", item.result.get("unexpected_count", ""))
    return Check(
        suite,
        item.expectation_config.type,
        str(meta.get("meaning", "")),
        bool(meta.get("critical", False)),
        bool(item.success),
        str(observed),
        tuple(failing),
    )


def checks_frame(checks: list[Check]) -> pl.DataFrame:
    """The checks as the table ``checks``."""
    return pl.DataFrame(
        [(c.suite, c.expectation, c.meaning, c.critical, c.success, c.observed, "; ".join(c.failing)) for c in checks],
        schema=CHECKS.schema,
        orient="row",
    )


_lock = threading.Lock()


def _import():  # noqa: ANN202
    with _lock:
        os.environ.update(_ENVIRONMENT)
        import great_expectations as gx

        return gx
