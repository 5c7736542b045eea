"""The plan's rules as great_expectations suites, one for each kind of card; built anew, never changed.

A suite is made from what `rules` declares and says nothing of its own. Each expectation carries in its meta
the reason it stands for and the column a sentence should speak of. The import costs seconds and a quarter of
a gigabyte, so it happens inside the functions, on the first large sheet only; `directly` judges the cards.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import polars as pl

from qc.ingest.checking.declared import ColumnRule, Failure, RuleNotRun, comparable
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Reason
from qc.plain import JsonObject

if TYPE_CHECKING:
    import pandas as pd


def validate(frame: pl.DataFrame, rules: Sequence[ColumnRule], name: str) -> list[Failure]:
    """Run rules over a frame as one great_expectations suite.

    Parameters
    ----------
    frame : DataFrame
        Prepared rows with the column `INDEX`.
    rules : sequence of ColumnRule
        The suite.
    name : str
        Name of the suite: the kind of card.

    Returns
    -------
    list of Failure
        Every failing row of every rule, in order of the rules.
    """
    if frame.is_empty() or not rules:
        return []
    batch = _rows().get_batch(batch_parameters={"dataframe": _pandas(comparable(frame, rules))})
    # whether a rule holds costs half of which rows fail it, and nearly every rule holds
    by_key = {str(position): rule for position, rule in enumerate(rules)}
    failing = {
        key: by_key[key] for key, result in _run(batch, name, by_key, "BOOLEAN_ONLY") if not result.success
    }
    if not failing:
        return []
    asked = {"result_format": "COMPLETE", "unexpected_index_column_names": [INDEX]}
    return [
        Failure(int(entry[INDEX]), failing[key])
        for key, result in _run(batch, name, failing, asked)
        for entry in result.result.get("unexpected_index_list") or []
    ]


def _run(batch: Any, name: str, rules: Mapping[str, ColumnRule], asked: object) -> list[tuple[str, Any]]:
    """Run rules by their keys and return what became of each, in their order."""
    report = batch.validate(_suite(name, rules), result_format=asked)
    found = {}
    for result in report.results:
        key = result.expectation_config.meta["rule"]
        fault = _fault(result.exception_info)
        if fault:
            raise RuleNotRun(rules[key], fault)
        found[key] = result
    return [(key, found[key]) for key in rules]


@cache
def warm_up() -> None:
    """Load great_expectations ahead of the first large sheet, in a process that lives long; once will do."""
    frame = pl.DataFrame({INDEX: [0], "typed": ["x"]})
    validate(frame, [ColumnRule("given", "typed", Reason.MISSING_VALUE, "text")], "warm-up")


def _pandas(frame: pl.DataFrame) -> pd.DataFrame:
    """Hand the columns over as plain Python values: no Arrow types, no third meaning of missing."""
    import pandas as pd

    columns: dict[str, pd.Series[Any]] = {}
    for name, kind in frame.schema.items():
        if kind == pl.String:
            columns[name] = pd.Series(frame[name].to_list(), dtype=object)
        else:
            columns[name] = pd.Series(frame[name].to_numpy())
    return pd.DataFrame(columns)


def _fault(info: JsonObject) -> str:
    """Return why a rule could not be run; what it is made of may carry the fault, each under its own name."""
    parts = [info, *(part for part in info.values() if isinstance(part, dict))]
    return next((str(part.get("exception_message")) for part in parts if part.get("raised_exception")), "")


@cache
def _rows() -> Any:
    """Return the batch definition that every frame of the process is handed to; it holds no data itself.

    The context is made from a configuration of our own: in memory, without reports, without progress bars and
    without a word to anybody else. Nothing is set outside of it, since the process may be somebody else's.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of what it imports: nobody here can mend that
        import great_expectations as gx
        from great_expectations.data_context.types.base import (
            DataContextConfig,
            InMemoryStoreBackendDefaults,
            ProgressBarsConfig,
        )

    config = DataContextConfig(
        store_backend_defaults=InMemoryStoreBackendDefaults(),
        analytics_enabled=False,
        progress_bars=ProgressBarsConfig(globally=False),
    )
    context = gx.get_context(mode="ephemeral", project_config=config)
    asset = context.data_sources.add_pandas("sheets").add_dataframe_asset("rows")
    return asset.add_batch_definition_whole_dataframe("all")


def _suite(name: str, rules: Mapping[str, ColumnRule]) -> Any:
    import great_expectations as gx

    listed = [_expectation(rule, key) for key, rule in rules.items()]
    return gx.ExpectationSuite(name=name, expectations=listed)


def _expectation(rule: ColumnRule, key: str) -> Any:
    # all of them but the first pass over an empty cell: whether one must be filled is a rule of its own
    meta = {"rule": key, "reason": str(rule.reason), "about": rule.about}
    kind = _kinds()[rule.kind]
    if rule.kind == "among":
        return kind(column=rule.column, value_set=list(rule.values), meta=meta)
    if rule.kind == "between":
        return kind(column=rule.column, min_value=rule.low, max_value=rule.high, meta=meta)
    if rule.kind == "at-most":
        return kind(
            column_A=rule.other,
            column_B=rule.column,
            or_equal=True,
            ignore_row_if="either_value_is_missing",
            meta=meta,
        )
    return kind(column=rule.column, meta=meta)


@cache
def _kinds() -> dict[str, Any]:
    """Return the expectation behind each kind of rule, with its configuration worked out once for each rule.

    As it comes an expectation works it out anew whenever it asks itself for a setting, some fifty times a
    run: a third of the time that the rules of a card took. Nothing here changes one once it is made.
    """
    import great_expectations.expectations as gxe
    from great_expectations.compatibility import pydantic

    def once(base: Any) -> Any:
        def configuration(self: Any) -> Any:
            if self._worked_out is None:
                self._worked_out = base.configuration.fget(self)
            return self._worked_out

        # the library finds an expectation again by its name, so each has one of its own
        own = {
            "__module__": __name__,
            "_worked_out": pydantic.PrivateAttr(None),
            "configuration": property(configuration),
        }
        return type(base)(f"{base.__name__}WorkedOutOnce", (base,), own)

    return {
        "given": once(gxe.ExpectColumnValuesToNotBeNull),
        "empty": once(gxe.ExpectColumnValuesToBeNull),
        "among": once(gxe.ExpectColumnValuesToBeInSet),
        "between": once(gxe.ExpectColumnValuesToBeBetween),
        "at-most": once(gxe.ExpectColumnPairValuesAToBeGreaterThanB),
    }
