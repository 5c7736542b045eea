"""Bodies that no page sends, where cards, recordings and the plan are taken: a number and a sentence."""

import json
import logging
import random
from copy import deepcopy
from urllib.parse import quote_from_bytes

import pytest

from dashboard.app import build_app
from dashboard.bench import routes
from dashboard.bench.open_cards import MOST, TABLETS, OpenCards
from dashboard.door import PACE_KEY
from qc.jobs.board import StoreBoardData
from qc.jobs.office import StoreOffice
from sample_measurements import folder as sample_folder

HOME = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}
SEED = 20261129
DEEP = "[" * 50_000
CARD = {
    "entry": "ab" * 16, "card": "lacquer-card", "left_out": [1], "sure": [[0, "unknown-place"]],
    "figures": {"0": "15.2", "1": "1.60"}, "tablet": "one",
    "boxes": {"Serial": "QH-1218", "Model": "bass", "Date": "2026-11-24", "Person": "FN", "Gauge": "EC-1"},
}  # fmt: skip
STRANGE = [
    None, True, -1, 1.5, float("inf"), float("nan"), 10**400, "", "x" * 5000, "\ud800", "\x00", "\u202e=1",
    "²", [], [[]], [[1]], [[1, 2, 3]], [[{}, "x"]], [float("inf")], [[float("inf"), "x"]], {}, {"id": []}, 
    {"0": None}, {"-5": "3"}, {"²": "1"}, {"99999": "1"}, {"0": "1e308"}, {"Serial": '\n;;"\r'}, 
    "0001-01-01", "9999-12-31", "slide-card", "gauge-checks", "shipping", "no-card",
]  # fmt: skip
PLAN_BITS = [
    b"\x00",
    b"\xff",
    b"&a [*a, *a]",
    b"!!python/object:x",
    b"[" * 2000,
    b"---\n",
    b"<<: *x",
    b"1e400",
    b"\t",
]
RECORDING = (
    b'--cut\r\nContent-Disposition: form-data; name="serial"\r\n\r\nTQ-0442\r\n--cut\r\n'
    b'Content-Disposition: form-data; name="wav"; filename="a.wav"\r\n'
    b"Content-Type: audio/wav\r\n\r\nRIFF" + bytes(100)
)
END = b"\r\n--cut--\r\n"


@pytest.fixture
def over(desk, demo_folder):
    """A board over the sample workshop, whose paces are not what is asked here."""
    app = build_app(StoreBoardData(demo_folder), desk, office=StoreOffice(demo_folder))
    app.server.config[PACE_KEY].wait_s = lambda address: 0
    return app.server.test_client()


@pytest.fixture
def chance():
    return random.Random(SEED)


def answered(client, path, data, kind, seen, caplog):
    with client.post(path, data=data, headers=HOME, content_type=kind) as answer:
        assert answer.status_code in {200, 400, 413}, (path, data[:400], answer.text[:400])
        seen[answer.status_code] = seen.get(answer.status_code, 0) + 1
    assert not caplog.records, (path, data[:400])


def put_wrong(chance):
    """Return a card with one to three of its parts, or what stands in them, put wrong."""
    card = deepcopy(CARD)
    for _ in range(chance.randint(1, 3)):
        part = chance.choice([*CARD])
        if isinstance(card.get(part), dict) and card[part] and chance.random() < 0.6:
            card[part][chance.choice([*card[part], "7", "more"])] = deepcopy(chance.choice(STRANGE))
        elif chance.random() < 0.1:
            card.pop(part, None)
        else:
            card[part] = deepcopy(chance.choice(STRANGE))
    return json.dumps(card)


def damaged(data, chance, bits=()):
    """Return bytes of which a few were changed, cut out, or had others put between them."""
    data = bytearray(data)
    for _ in range(chance.randint(1, 5)):
        at = chance.randrange(len(data))
        if bits and chance.random() < 0.5:
            data[at : at + chance.randint(0, 20)] = chance.choice(bits)
        else:
            data[at] = chance.randrange(256)
    return bytes(data)


def test_no_card_that_is_none_makes_the_bench_stumble(over, chance, caplog):
    caplog.set_level(logging.WARNING)
    seen = {}
    bodies = [DEEP, '{"a":' * 50_000, "", "null", "NaN", *(put_wrong(chance) for _ in range(120))]
    bodies += [damaged(json.dumps(CARD).encode(), chance) for _ in range(20)]
    for body in bodies:
        for path in ("/bench/enter", "/bench/check"):
            answered(over, path, body, "application/json", seen, caplog)
    assert seen[400] > 100 and seen[200] > 20


def test_no_plan_that_is_none_makes_the_office_stumble(over, chance, caplog):
    caplog.set_level(logging.WARNING)
    plan, seen = (sample_folder() / "plan.yaml").read_bytes(), {}
    texts = [b"a" * 600_000, b"[" * 100_000, *(damaged(plan, chance, PLAN_BITS) for _ in range(60))]
    for text in texts:
        form = b"do=check&mark=%00&why=x&plan=" + quote_from_bytes(text).encode()
        answered(over, "/plan/edit", form, "application/x-www-form-urlencoded", seen, caplog)
    for form in (
        b"%" * 1000,
        b"&".join([b"a=1"] * 3000),
        b"do=save",
        b"do=save&who=%00&plan=%ff",
        b"plan=" + b"a" * 2**20,
    ):
        answered(over, "/plan/edit", form, "application/x-www-form-urlencoded", seen, caplog)
    assert seen[400] > 50


def test_no_form_that_is_none_makes_the_recording_stumble(client, app, chance, caplog):
    caplog.set_level(logging.WARNING)
    app.server.config[PACE_KEY].wait_s = lambda address: 0
    seen, kind = {}, "multipart/form-data; boundary=cut"
    for _ in range(150):
        # a form without its end leaves the file it began to the framework, which closes it when it sees fit
        answered(client, "/remedies/recording", damaged(RECORDING, chance) + END, kind, seen, caplog)
    for other in ("multipart/form-data", "multipart/form-data; boundary=" + "x" * 300, "text/plain"):
        answered(client, "/remedies/recording", RECORDING + END, other, seen, caplog)
    assert seen[400] > 20 and seen[200] > 20


def test_a_card_too_large_for_any_bench_is_refused_in_words_that_fit(over, monkeypatch):
    monkeypatch.setattr(routes, "MOST_CARD", 2000)
    answer = over.post("/bench/enter", json={**CARD, "tablet": "x" * 2000}, headers=HOME)
    assert answer.status_code == 413
    assert answer.json["problem"] == (
        "This is more than this address takes. Nothing was stored; write less, and send it."
    )


def test_what_tablets_say_of_themselves_takes_little_memory():
    cards = OpenCards()
    for number in range(MOST + 10):
        cards.note("x" * 10_000, f"QH-{number}" + "y" * 10_000, f"tablet {number}", "")
    for number in range(500):
        cards.note("slide-card", "QH-1", f"tablet {number}", "BK" if number == 0 else "FN")
    assert cards.note("slide-card", "QH-1", "tablet 499", "FN") == ("BK", 0), (
        "the first is told to all others"
    )
    assert len(cards._open) <= MOST
    assert max(len(tablets) for tablets in cards._open.values()) <= TABLETS + 1
    assert max(len(word) for key in cards._open for word in key) <= 80
