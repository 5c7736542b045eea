"""The board through its web server, without a browser."""

import csv
import json
import re
import zipfile
from dataclasses import replace
from io import BytesIO, StringIO

import polars as pl
import pytest

from dashboard import uploads
from dashboard.pages import PAGES, signals
from dashboard.routing import match
from qc.jobs.board.views import ReportView

HOME = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}
EVERY_PAGE = [
    "/",
    "/stages",
    "/stages/tuning",
    "/stages/tuning/f-wrap/tenor-bass",
    "/stages/polish",
    "/instruments",
    "/instruments/TQ-0442",
    "/signals",
    "/signals/s0",
    "/signals/s2",
    "/hold",
    "/rework",
    "/rework/2026-10",
    "/rework/all",
    "/rework/2027-01",
    "/hold/TQ-0410",
    "/hold/TQ-0001",
    "/sheets",
    "/gauges",
    "/gauges/G-03",
    "/gauges/B-09",
    "/gauges/R-01",
    "/month",
    "/remedies",
    "/remedies/tuning/TQ-0442",
    "/remedies/rack",
    "/remedies/dies",
    "/remedies/lacquer/TQ-0442",
]


def page(client, path):
    body = {
        "output": "..main.children...nav.children...page-name.data..",
        "outputs": [
            {"id": "main", "property": "children"},
            {"id": "nav", "property": "children"},
            {"id": "page-name", "property": "data"},
        ],
        "inputs": [{"id": "url", "property": "pathname", "value": path}],
        "changedPropIds": ["url.pathname"],
    }
    answer = client.post("/_dash-update-component", json=body, headers=HOME)
    assert answer.status_code == 200
    return answer.get_json()["response"]


def test_the_first_answer_names_no_other_machine(client):
    html = client.get("/", headers=HOME).get_data(as_text=True)
    assert not re.findall(r"(?:src|href)=[\"'](?:https?:)?//", html)
    assert '<html lang="en">' in html and "Tern Quay Brassworks" in html


def test_the_readers_theme_is_there_before_the_first_paint(client):
    client.set_cookie("board_theme", "dark", domain="127.0.0.1")
    html = client.get("/", base_url="http://127.0.0.1:8050").get_data(as_text=True)
    assert '<html lang="en" data-theme="dark">' in html


def test_a_made_up_theme_is_ignored(client):
    client.set_cookie("board_theme", "x onload=alert(1)", domain="127.0.0.1")
    html = client.get("/", base_url="http://127.0.0.1:8050").get_data(as_text=True)
    assert "onload" not in html


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_every_page_is_drawn(client, path):
    answer = page(client, path)
    assert "Not found" not in answer["page-name"]["data"]
    assert "page-title" in json.dumps(answer["main"])


@pytest.mark.parametrize(
    "path",
    [
        "/nowhere",
        "/stages/none",
        "/stages/tuning/none/all",
        "/instruments/none",
        "/signals/none",
        "/gauges/none",
        "/stages/a/b/c/d",
    ],
)
def test_an_unknown_address_says_so_and_leads_back(client, path):
    answer = json.dumps(page(client, path)["main"])
    assert "Not found" in answer and '"href": "/"' in answer


@pytest.mark.parametrize(
    "path, status", [(path, 200) for path in EVERY_PAGE] + [("/nowhere", 404), ("/a/b/c", 404)]
)
def test_the_answer_to_an_address_says_whether_there_is_such_a_page(client, path, status):
    answer = client.get(path, headers=HOME)
    assert answer.status_code == status and 'name="board-token"' in answer.text


def test_what_is_not_judged_is_said_on_every_page_and_asked_for(client, board, desk):
    page(client, "/")
    assert not desk.asked_to_judge
    board.waits = "Not judged since 3 November 2026, 08:10."
    for path in ("/", "/signals", "/stages/tuning"):
        assert board.waits in json.dumps(page(client, path)["main"])
    assert desk.asked_to_judge


def test_the_navigation_shows_only_what_exists(client):
    answer = page(client, "/stages/tuning")
    links = [link["props"] for link in answer["nav"]["children"]]
    assert [link["children"] for link in links] == [
        "Today",
        "Bench",
        "Stages",
        "To hold",
        "Instruments",
        "Signals",
        "Sheets",
        "Remedies",
        "Gauges",
        "Rework",
        "Month",
        "Plan",
        "People",
    ]
    assert [link["children"] for link in links if link["className"] == "here"] == ["Stages"]
    assert client.get("/bench", headers=HOME).status_code == 200  # a plain page, not one of the framework
    assert all(match(PAGES, link["href"]) is not None for link in links if link["href"] != "/bench")


def test_every_link_of_every_page_leads_to_a_page(client):
    seen = set()
    for path in EVERY_PAGE:
        seen |= set(re.findall(r'"href": "(/[^"]*)"', json.dumps(page(client, path))))
    for href in seen:
        if href.startswith(("/data/", "/reports/", "/cards/", "/bench")):
            assert client.get(href, headers=HOME).status_code == 200
        else:
            assert "Not found" not in page(client, href)["page-name"]["data"] or "TQ-" not in href, href


def test_every_chart_keeps_its_data_at_home(client):
    found = 0
    for path in EVERY_PAGE:
        for config in _values(page(client, path), "config"):
            found += 1
            assert config["showSendToCloud"] is False and config["plotlyServerURL"] == ""
            assert config["displaylogo"] is False
    assert found >= 6


def drawn_again(client, series, pressed, rules=None, whole="false"):
    ids = ("stage-chart.figure", "stage-span-newest.aria-pressed", "stage-span-all.aria-pressed")
    ids = (*ids, "stage-rules-found.children", "stage-pieces-body.children")
    clicks = {name: int(pressed == f"stage-span-{name}.n_clicks") for name in ("newest", "all")}
    body = {
        "output": f"..{'...'.join(ids)}..",
        "outputs": [dict(zip(("id", "property"), name.split("."), strict=True)) for name in ids],
        "inputs": [
            {"id": "stage-span-newest", "property": "n_clicks", "value": clicks["newest"]},
            {"id": "stage-span-all", "property": "n_clicks", "value": clicks["all"]},
            {"id": "stage-rules", "property": "data", "value": rules},
        ],
        "state": [
            {"id": "stage-span-all", "property": "aria-pressed", "value": whole},
            {"id": "stage-series", "property": "data", "value": series},
        ],
        "changedPropIds": [pressed],
    }
    return client.post("/_dash-update-component", json=body, headers=HOME).get_json()["response"]


def test_the_span_of_a_chart_can_be_changed(client):
    response = drawn_again(client, "valves/play/all", "stage-span-all.n_clicks")
    assert len(response["stage-chart"]["figure"]["data"][0]["x"]) == 64
    assert response["stage-span-all"]["aria-pressed"] == "true"
    assert drawn_again(client, "valves/play/all", "stage-span-newest.n_clicks", whole="true")[
        "stage-span-newest"
    ] == {"aria-pressed": "true"}


@pytest.mark.parametrize("pressed, shown", [("newest", 10), ("all", 46)])
def test_a_signal_shows_the_newest_pieces_and_all_where_asked(client, monkeypatch, pressed, shown):
    monkeypatch.setattr(signals, "window", lambda verdict, signal: 10)
    ids = ("signals-chart.figure", "signals-pieces-body.children")
    ids = (*ids, "signals-span-newest.aria-pressed", "signals-span-all.aria-pressed")
    body = {
        "output": f"..{'...'.join(ids)}..",
        "outputs": [dict(zip(("id", "property"), one.split("."), strict=True)) for one in ids],
        "inputs": [
            {"id": f"signals-span-{span}", "property": "n_clicks", "value": int(span == pressed)}
            for span in ("newest", "all")
        ],
        "state": [{"id": "signals-id", "property": "data", "value": "s0"}],
        "changedPropIds": [f"signals-span-{pressed}.n_clicks"],
    }
    answer = client.post("/_dash-update-component", json=body, headers=HOME).get_json()["response"]
    assert len(answer["signals-chart"]["figure"]["data"][0]["x"]) == shown
    assert json.dumps(answer["signals-pieces-body"]).count("/instruments/") == shown
    assert answer[f"signals-span-{pressed}"]["aria-pressed"] == "true"


def test_a_rule_that_is_switched_on_keeps_the_span_and_marks_the_chart(client):
    on = {"rule": ["same-side", "beyond-limit", "made-up"], "limits": ["prediction"]}
    response = drawn_again(client, "tuning/f-wrap/tenor-bass", "stage-rules.data", on, whole="true")
    assert [trace["name"] for trace in response["stage-chart"]["figure"]["data"]][:2] == [
        "F wrap length",
        "rules",
    ]
    assert response["stage-span-all"]["aria-pressed"] == "true"
    assert "prediction limits" in json.dumps(response["stage-rules-found"])
    off = drawn_again(client, "tuning/f-wrap/tenor-bass", "stage-rules.data", {"limits": ["textbook"]})
    assert "rules" not in [trace["name"] for trace in off["stage-chart"]["figure"]["data"]]
    assert off["stage-rules-found"]["children"] == []


def test_the_price_of_rules_is_told_apart_from_the_chart(client):
    body = {
        "output": "stage-rules-price.children",
        "outputs": {"id": "stage-rules-price", "property": "children"},
        "inputs": [{"id": "stage-rules", "property": "data", "value": {"rule": ["same-side"]}}],
        "state": [{"id": "stage-series", "property": "data", "value": "valves/play/all"}],
        "changedPropIds": ["stage-rules.data"],
    }
    answer = client.post("/_dash-update-component", json=body, headers=HOME).get_json()
    assert "about one false signal in 510 pieces" in json.dumps(answer)


def test_a_series_is_shown_anew_once_something_was_decided(client):
    body = {
        "output": "..stage-said.children...stage-body.children..",
        "outputs": [
            {"id": "stage-said", "property": "children"},
            {"id": "stage-body", "property": "children"},
        ],
        "inputs": [{"id": "stage-decided", "property": "data", "value": "s1"}],
        "state": [{"id": "stage-series", "property": "data", "value": "tuning/f-wrap/tenor-bass"}],
        "changedPropIds": ["stage-decided.data"],
    }
    answer = client.post("/_dash-update-component", json=body, headers=HOME).get_json()["response"]
    assert "The signal is now closed." in json.dumps(answer["stage-said"])
    assert "stage-chart" in json.dumps(answer["stage-body"])


def test_a_study_is_answered_with_sentence_table_and_chart(client):
    body = {
        "output": "gauges-answer.children",
        "outputs": {"id": "gauges-answer", "property": "children"},
        "inputs": [{"id": "gauges-done", "property": "data", "value": "g1"}],
        "changedPropIds": ["gauges-done.data"],
    }
    answer = json.dumps(client.post("/_dash-update-component", json=body, headers=HOME).get_json())
    assert "it tells 3 groups of parts apart" in answer and "gauges-study-chart" in answer
    assert "38.5 % (30 to 60)" in answer and "--keep" not in answer and "person_part" not in answer


def test_the_finder_finds_by_part_of_a_serial(client):
    body = {
        "output": "instruments-list.children",
        "outputs": {"id": "instruments-list", "property": "children"},
        "inputs": [{"id": "instruments-find", "property": "value", "value": "0440"}],
        "changedPropIds": ["instruments-find.value"],
    }
    answer = json.dumps(client.post("/_dash-update-component", json=body, headers=HOME).get_json())
    assert "TQ-0440" in answer and "TQ-0441" not in answer


def test_the_data_behind_a_chart_come_as_csv(client, view):
    answer = client.get("/data/stages/tuning/f-wrap/tenor-bass.csv", headers=HOME)
    rows = list(csv.DictReader(StringIO(answer.get_data(as_text=True))))
    assert answer.mimetype == "text/csv" and "attachment" in answer.headers["Content-Disposition"]
    assert len(rows) == len(view.verdict.points)
    assert float(rows[-1]["value"]) == view.verdict.points[-1].value and rows[-1]["unit"] == "mm"
    assert client.get("/data/stages/tuning/none/all.csv", headers=HOME).status_code == 404


@pytest.mark.parametrize("text", ["=HYPERLINK(1)", "+1+A1", "-A2", "@SUM(A1)", "\tx", "\rx"])
def test_no_cell_of_a_download_is_run_as_a_formula(client, board, view, monkeypatch, text):
    points = tuple(replace(p, note=text) for p in view.verdict.points)
    noted = replace(view, verdict=replace(view.verdict, points=points))
    monkeypatch.setattr(board, "series", lambda key: noted)
    files = {
        form: client.get(f"/data/stages/tuning/f-wrap/tenor-bass.{form}", headers=HOME).data
        for form in ("csv", "xlsx", "parquet")
    }
    (row, *_) = csv.DictReader(StringIO(files["csv"].decode("utf-8"), newline=""))
    assert row["note"] == f"'{text}"
    sheet = zipfile.ZipFile(BytesIO(files["xlsx"]))
    assert b"<f>" not in sheet.read("xl/worksheets/sheet1.xml")
    assert pl.read_parquet(BytesIO(files["parquet"]))["note"][0] == text


def test_the_data_come_in_three_formats_with_the_same_figures(client, view):
    at = "/data/stages/tuning/f-wrap/tenor-bass"
    values = [p.value for p in view.verdict.points]
    book = client.get(f"{at}.xlsx", headers=HOME)
    assert pl.read_excel(BytesIO(book.data))["value"].to_list() == pytest.approx(values)
    assert (
        pl.read_parquet(BytesIO(client.get(f"{at}.parquet", headers=HOME).data))["value"].to_list() == values
    )
    refused = client.get(f"{at}.pdf", headers=HOME)
    assert refused.status_code == 404 and "csv, xlsx, parquet" in refused.get_data(as_text=True)


def test_only_listed_reports_leave_the_disk(app, board, tmp_path, monkeypatch):
    report = tmp_path / "2026-10" / "report.pdf"
    report.parent.mkdir()
    report.write_bytes(b"%PDF-1.7")
    (tmp_path / "secret.txt").write_text("kept at home")
    monkeypatch.setattr(board, "reports", lambda: (ReportView("2026-10", (report,)),))
    client = app.server.test_client()
    with client.get("/reports/2026-10/report.pdf", headers=HOME) as answer:
        assert answer.data == b"%PDF-1.7"
    assert client.get("/reports/2026-10/secret.txt", headers=HOME).status_code == 404
    for path in ("/reports/2026-10/..%2fsecret.txt", "/reports/../secret.txt", "/reports/%2e%2e/secret.txt"):
        assert b"kept at home" not in client.get(path, headers=HOME).data


def upload(client, files, who="KM"):
    data = {"who": who, "sheets": [(BytesIO(content), name) for name, content in files]}
    return client.post("/uploads", data=data, headers=HOME, content_type="multipart/form-data")


def test_sheets_arrive_byte_for_byte(client, desk):
    content = bytes(range(256)) * 40
    answer = upload(client, [("a.csv", b"x;y\n"), ("b.xlsx", content)])
    assert answer.get_json() == {"ticket": "t1"}
    assert desk.taken == [([("a.csv", b"x;y\n"), ("b.xlsx", content)], "KM")]


def test_a_ticket_can_be_followed(client):
    assert client.get("/tickets/t1", headers=HOME).get_json()["state"] == "done"
    assert client.get("/tickets/zzz", headers=HOME).status_code == 404


def test_no_path_from_a_user_is_kept(client, desk):
    upload(client, [("..\\..\\etc/passwd\x07.csv", b"x")])
    assert desk.taken[0][0][0][0] == "passwd.csv"


def test_an_unknown_person_is_not_believed(client, desk):
    upload(client, [("a.csv", b"x")], who="root")
    assert desk.taken[0][1] == ""


def test_an_upload_without_sheets_says_what_to_do(client, desk):
    answer = client.post("/uploads", data={"who": "KM"}, headers=HOME)
    assert answer.status_code == 400 and "Choose one or more" in answer.get_json()["problem"]
    assert not desk.taken


def test_an_upload_over_the_limit_is_refused(client, desk, monkeypatch):
    monkeypatch.setattr(uploads, "MOST_BYTES", 1000)
    answer = upload(client, [("a.csv", b"x" * 5000)])
    assert answer.status_code == 413 and "Send fewer sheets" in answer.get_json()["problem"]
    assert not desk.taken


def test_too_many_sheets_at_once_are_refused(client, desk, monkeypatch):
    monkeypatch.setattr(uploads, "MOST_FILES", 1)
    assert upload(client, [("a.csv", b"x"), ("b.csv", b"y")]).status_code == 400
    assert not desk.taken


def _values(data, name):
    if isinstance(data, dict):
        for key, value in data.items():
            if key == name:
                yield value
            else:
                yield from _values(value, name)
    elif isinstance(data, list):
        for item in data:
            yield from _values(item, name)
