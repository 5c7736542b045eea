"""Takes down what every face says: commands, month, board, stored verdicts, and the state after changes.

Everything runs in this process over a copy of the sample workshop. The folders of a run are written as
`WORKSHOP`, `TABLES`, `SHEETS` and `OUT`, so nothing of the machine or the day is left in the files.
"""

import importlib.util
import io
import json
import os
import re
import shutil
import sys
import zipfile
from contextlib import ExitStack, redirect_stderr, redirect_stdout
from functools import cached_property
from pathlib import Path
from unittest.mock import patch

HERE = Path(__file__).resolve().parent
FILES, TABLES = HERE / "files", HERE / "tables"
BEFORE = HERE / "before"
HOST = {"Host": "127.0.0.1:8050"}
MONTH, EARLY = "2026-10", "2025-09"
NUMBER = {"rel": 1e-9, "abs": 1e-12}


def _load(name):
    spec = importlib.util.spec_from_file_location(f"golden_{name}", HERE / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


cases = _load("cases")
short = _load("brief")

PAGES = [
    "/",
    "/stages",
    "/instruments",
    "/instruments/QH-1195",
    "/instruments/QH-1011",
    "/signals",
    "/sheets",
]
PAGES += ["/hold", "/hold/QH-1200", "/rework/2026-10"]
PAGES += ["/gauges", "/month", "/nowhere", "/signals/none", "/gauges/none", "/instruments/none"]


class _NoUploads:
    """Stands for the worker of the board: pages ask it to be ready, nothing is handed to it."""

    def warm(self):
        pass


class Taker:
    """Runs the cases over one copy of the sample workshop.

    Parameters
    ----------
    demo : pathlib.Path
        The sample workshop as made; only copied.
    room : pathlib.Path
        Empty folder to work in.
    """

    def __init__(self, demo, room):
        self.room = room
        self.made = demo
        self.demo = Path(shutil.copytree(demo, room / "read"))
        self.out = room / "out"
        self.out.mkdir()

    def take(self, name):
        """Return what the file of this name should hold."""
        kind, _, rest = name.partition("_")
        return getattr(self, f"take_{kind.replace('-', '_')}")(rest)

    @staticmethod
    def names():
        """Return the names of all files."""
        names = [f"command_{n}" for n in {**cases.WORKSHOP, **cases.TABLES}]
        names += [f"written_{n}" for n in cases.WRITTEN]
        names += [
            "board_pages",
            "board_stages",
            "board_series",
            "board_signals",
            "board_gauges",
            "board_data",
        ]
        return [*names, "month_files", "help", "names", "verdicts", "stored-signals", "changes"]

    # --- the command line

    def run(self, words):
        """Run a command in text and JSON over the copy that is only read."""
        return run(words, self.places())

    def call(self, words, folder=None, as_json=False):
        """Run a command once, over the copy that is only read or another one."""
        return call(words, self.places(folder), as_json)

    def places(self, folder=None):
        """Return the folders a command may name."""
        return {"demo": folder or self.demo, "out": self.out}

    def take_command(self, name):
        """One command that changes nothing."""
        if name == "rejudge":  # said in words by `judged`, which the board and what is stored wait for too
            words = ["rejudge", "--workshop", "{demo}"]
            found = {"words": words, **self.judged}
            return {**found, "json": self.call([*words, "--json"], as_json=True)}
        return self.run({**cases.WORKSHOP, **cases.TABLES}[name])

    def take_help(self, _):
        """The help of every command."""
        return {" ".join(["qc", *words]): self.call([*words, "--help"])["out"] for words in cases.SPOKEN}

    def take_written(self, name):
        """A file that a study or remedy writes."""
        path = self.out / name
        option = "--out" if path.suffix == ".parquet" else "--plot"
        said = self.call([*cases.WRITTEN[name], option, "{out}/" + name])
        return {"said": said, "file": read_written(path, self.out)}

    # --- the month

    def take_month(self, _):
        """The report of the last finished month, in words and cells."""
        said = self.call(["month", EARLY, "--out", "{out}/early", "--workshop", "{demo}"])
        found = self.call(
            ["month", MONTH, "--out", "{out}/month", "--workshop", "{demo}", "--json"], as_json=True
        )
        page, book, pdf = (self.out / "month" / f"month-{MONTH}.{end}" for end in ("html", "xlsx", "pdf"))
        contents = {
            "html": short.brief_html(page.read_text("utf-8")),
            "workbook": short.brief_workbook(book),
            "pdf": short.brief_pdf(pdf),
        }
        # a line of the pdf may break within a hash
        contents = json.loads(re.sub(r"\b[0-9a-f]{24,64}\b", "HASH", json.dumps(settled(contents))))
        return {
            "said": said,
            "json": found,
            "listed": sorted(p.name for p in page.parent.iterdir()),
            **contents,
        }

    # --- the board

    @cached_property
    def judged(self):
        """Judge the copy anew once: what is kept of a series then holds for the workshop's day.

        An upload keeps a verdict for its own day, `rejudge` for the day it runs on. Board and verdicts would
        else be what they are by whether that command was taken before them.
        """
        return self.call(["rejudge", "--workshop", "{demo}"])

    @cached_property
    def client(self):
        """A client of the board over the copy; nothing is uploaded, so no worker is started."""
        from dashboard.app import build_app
        from qc.jobs.board import StoreBoardData

        assert self.judged["code"] == 0
        return build_app(StoreBoardData(self.demo, None), _NoUploads()).server.test_client()

    def page(self, path):
        """Return one page of the board: its title, its outline and its figures."""
        wanted = (("main", "children"), ("nav", "children"), ("page-name", "data"))
        body = {
            "output": f"..{'...'.join(f'{i}.{p}' for i, p in wanted)}..",
            "outputs": [{"id": i, "property": p} for i, p in wanted],
            "inputs": [{"id": "url", "property": "pathname", "value": path}],
            "changedPropIds": ["url.pathname"],
        }
        answer = self.client.post(
            "/_dash-update-component", json=body, headers={**HOST, "Origin": f"http://{HOST['Host']}"}
        )
        if answer.status_code != 200:
            return {"status": answer.status_code}
        found = json.loads(plain(answer.get_data(as_text=True), {"demo": self.demo}))["response"]
        return {"title": found["page-name"]["data"], **short.outline(found["main"]["children"])}

    def take_board(self, part):
        """One kind of page, every one of it."""
        if part == "data":
            return {key: self._data(key) for key in self.series}
        pages = {path: self.page(path) for path in self._paths(part)}
        if part == "stages":  # their charts are those of the series, pinned there
            pages = {path: {**page, "figures": len(page["figures"])} for path, page in pages.items()}
        return pages

    def _paths(self, part):
        if part == "series":
            return [f"/stages/{key}" for key in self.series]
        if part == "stages":
            return [f"/stages/{stage}" for stage in dict.fromkeys(key.split("/")[0] for key in self.series)]
        if part == "signals":
            return [f"/signals/{found['id']}" for found in self.stored("signals")]
        if part == "gauges":
            return [f"/gauges/{gauge}" for gauge in self._gauges()]
        return PAGES

    def _gauges(self):
        import yaml

        return [
            gauge["id"] for gauge in yaml.safe_load((self.demo / "plan.yaml").read_text("utf-8"))["gauges"]
        ]

    def _data(self, key):
        answer = self.client.get(f"/data/stages/{key}.csv", headers=HOST)
        return {"status": answer.status_code, **short.brief_csv(answer.get_data(as_text=True))}

    # --- what is stored

    def stored(self, what):
        """Return the verdicts or the signals of the store, as plain values."""
        from qc.jobs.workshop import open_workshop

        assert self.judged["code"] == 0
        with open_workshop(self.demo).store as store:
            return [plain_record(record) for record in getattr(store, what)()]

    @cached_property
    def series(self):
        """The keys of all series."""
        return [verdict["key"] for verdict in self.stored("verdicts")]

    def take_verdicts(self, _):
        """The newest verdict of every series."""
        return short.brief(self.stored("verdicts"), 30)

    def take_stored_signals(self, _):
        """The signals with what was said of them."""
        return self.stored("signals")

    # --- changes

    def take_changes(self, _):
        """What each command answers that changes a workshop, one after the other in one copy."""
        folder = Path(shutil.copytree(self.made, self.room / "changed"))
        answers = []
        for words in cases.CHANGES:
            answer = self.call([*words, "--json"], folder, as_json=True)
            answers.append({"words": words, **answer})
        texts = [{"words": words, **self.call(words, folder)} for words in cases.CHANGES_IN_TEXT]
        exported = (self.out / "held.csv").read_text("utf-8").splitlines()
        return {"json": answers, "text": texts, "exported": exported}

    # --- the offered names

    def take_names(self, _):
        """What a notebook can import, and what each of it takes."""
        import inspect
        from importlib import import_module

        found = {}
        for package in ("qc", "qc.stats", "qc.trade", "qc.plan", "qc.watch"):
            module = import_module(package)
            offered = getattr(module, "__all__", None) or [n for n in dir(module) if not n.startswith("_")]
            for name in sorted(offered):
                thing = getattr(module, name)
                takes = list(inspect.signature(thing).parameters) if inspect.isfunction(thing) else None
                found[f"{package}.{name}"] = takes if takes is not None else type(thing).__name__
        return found


def ask_before(folder):
    """Unpack the workshop of an earlier program, yield what it answers, then what it does with new sheets."""
    with zipfile.ZipFile(HERE / "workshop_before.zip") as packed:
        packed.extractall(folder)
    for name, words in cases.BEFORE_ASKED.items():
        yield name, run(words, {"demo": folder})
    for name, words in cases.BEFORE_LATER.items():
        yield name, {"words": words, **call([*words, "--json"], {"demo": folder}, as_json=True)}


def run(words, places):
    """Run a command as text and as JSON; return exit codes, what it said, and the JSON's values."""
    text = call(words, places)
    if text["code"] == 2:
        return {"words": words, **text}
    return {"words": words, **text, "json": call([*words, "--json"], places, as_json=True)}


def call(words, places, as_json=False):
    """Run one command in this process; the folders it names are written as plain words."""
    from qc.cli.main import main

    places = {**places, "t": TABLES, "sheets": sheet_folder()}
    out, err = io.StringIO(), io.StringIO()
    as_installed = (
        patch.dict(os.environ, COLUMNS="80"),
        patch.object(sys, "argv", ["qc"]),
        patch.object(sys.modules["__main__"], "__package__", None),  # else help names the test program
    )
    with ExitStack() as around:
        for one in (*as_installed, redirect_stdout(out), redirect_stderr(err)):
            around.enter_context(one)
        code = main([word.format(**places) for word in words])
    said, wrong = (plain(stream.getvalue(), places) for stream in (out, err))
    found = {"code": code, "err": wrong.splitlines()}
    if not as_json:
        return {**found, "out": said.splitlines()}
    return {**found, "out": short.brief(json.loads(said)) if said else None}


def plain_record(record):
    """Return a verdict as it is kept, or a signal with its state, its days and what was said of it."""
    if not hasattr(record, "said"):
        return record.plain
    events = [
        {name: str(getattr(said, name)) for name in ("what", "cause", "action", "text", "who")}
        | {"when": said.when.isoformat()}
        for said in record.said
    ]
    own = {"id": record.id, "series": record.series, "state": record.state}
    days = {"first_as_of": str(record.first_as_of), "last_as_of": str(record.last_as_of)}
    return {**record.plain, **own, **days, "events": events}


def sheet_folder():
    """Return where the sample sheets lie."""
    from sample_measurements import folder

    return folder() / "sheets"


HASH = re.compile(r'([Ll]ast hash:? |"(?:head|last_hash)": ")[0-9a-f]{64}')
"""The last hash of a store: it rests on the program's fingerprint, so a change of the statistics moves it."""

WORDS = {"demo": "WORKSHOP", "t": "TABLES", "out": "OUT", "sheets": "SHEETS"}


def plain(text, places):
    """Return a text with the folders of this run written as plain words."""
    for name, place in sorted(places.items(), key=lambda pair: -len(str(pair[1]))):
        text = text.replace(str(place), WORDS[name])
    return HASH.sub(r"\1HASH", text)


def read_written(path, room):
    """Return the content of a written file in short."""
    if path.suffix == ".png":
        return short.brief_picture(path)
    if path.suffix == ".html":
        page = re.sub(
            "<metadata>.*?</metadata>", "", path.read_text("utf-8"), flags=re.S
        )  # names the drawing library
        return short.brief_html(page)
    import polars as pl

    wrote = sorted(room.glob(f"{path.stem}*{path.suffix}"))
    frames = {one.name: pl.read_parquet(one) for one in wrote}
    return {n: {"columns": f.columns, "rows": short.brief(f.to_dicts())} for n, f in frames.items()}


def settled(value):
    """Return a value as the files hold it."""
    return json.loads(json.dumps(value, ensure_ascii=False, default=str))


def differences(kept, found, place=""):
    """Yield where two values differ: numbers beyond rounding, anything else at all."""
    if isinstance(kept, dict) and isinstance(found, dict):
        if list(kept) != list(found):
            yield f"{place}: names {list(kept)} became {list(found)}"
        for name in kept.keys() & found.keys():
            yield from differences(kept[name], found[name], f"{place}/{name}")
    elif isinstance(kept, list) and isinstance(found, list):
        if len(kept) != len(found):
            yield f"{place}: {len(kept)} became {len(found)} entries"
        for number, pair in enumerate(zip(kept, found, strict=False)):
            yield from differences(*pair, f"{place}/{number}")
    elif _is_number(kept) and _is_number(found):
        if abs(kept - found) > max(NUMBER["abs"], NUMBER["rel"] * max(abs(kept), abs(found))):
            yield f"{place}: {kept} became {found}"
    elif type(kept) is not type(found) or kept != found:
        yield f"{place}: {kept!r} became {found!r}"


def _is_number(value):
    return isinstance(value, int | float) and not isinstance(value, bool)


def dumps(value, pad=""):
    """Return the text of a file: what fits stands on one line, so that differences are easy to read."""
    flat = json.dumps(value, ensure_ascii=False)
    if len(pad) + len(flat) <= 150 or not isinstance(value, dict | list):
        return flat
    more = pad + " "
    if isinstance(value, list):
        return "[\n" + ",\n".join(more + dumps(part, more) for part in value) + f"\n{pad}]"
    parts = [f"{more}{json.dumps(k, ensure_ascii=False)}: {dumps(part, more)}" for k, part in value.items()]
    return "{\n" + ",\n".join(parts) + f"\n{pad}}}"
